"""Which backups are kept: the newest of each of the last days, weeks and months."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from datetime import UTC, datetime

_NAME = re.compile(r"tidetally-(\d{8}T\d{6}Z)\.zip(\.age)?")


@dataclass(frozen=True, slots=True)
class Retention:
    """How many days, weeks and months have a backup kept. Common practice, no source."""

    daily: int = 14
    weekly: int = 8
    monthly: int = 24


def name_at(moment: datetime, *, encrypted: bool) -> str:
    """``tidetally-20261006T090000Z.zip``, with ``.age`` when it is encrypted."""
    stamp = moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    return f"tidetally-{stamp}.zip{'.age' if encrypted else ''}"


def made_at(name: str) -> datetime | None:
    """The moment in a backup's name, None for a file that is no backup of ours."""
    found = _NAME.fullmatch(name)
    return datetime.strptime(found[1], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC) if found else None


def to_remove(names: Iterable[str], kept: Retention) -> list[str]:
    """The backups among ``names`` that no day, week or month needs; the newest is never among them.

    Files that are no backups of ours are left alone.
    """
    dated = sorted(((moment, name) for name in names if (moment := made_at(name))), reverse=True)
    needed = {name for _, name in dated[:1]}
    spans: tuple[tuple[int, Callable[[datetime], object]], ...] = (
        (kept.daily, lambda moment: moment.date()),
        (kept.weekly, lambda moment: moment.isocalendar()[:2]),
        (kept.monthly, lambda moment: (moment.year, moment.month)),
    )
    for number, span in spans:
        newest: dict[object, str] = {}
        for moment, name in dated:
            newest.setdefault(span(moment), name)
        needed |= set(list(newest.values())[:number])
    return sorted(name for _, name in dated if name not in needed)


def parse_retention(text: str) -> Retention:
    """``daily=14,weekly=8,monthly=24``; what is not named stays as it is. Raises :class:`ValueError`."""
    kept = {field.name: getattr(Retention(), field.name) for field in fields(Retention)}
    for part in text.split(","):
        span, _, number = (word.strip() for word in part.partition("="))
        if span not in kept or not number.isdecimal():
            raise ValueError(f"{part.strip()!r} is no such rule; expected daily=14,weekly=8,monthly=24")
        kept[span] = int(number)
    return Retention(**kept)
