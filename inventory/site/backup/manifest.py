"""What a backup says of itself: what is in it, from when, and up to which event of the chain."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

NAME = "manifest.json"
FORMAT = 1


class NotABackup(Exception):
    """A file that is not restored: damaged, altered, or of a newer program. Nothing was changed."""


@dataclass(frozen=True, slots=True)
class Member:
    """One file of the backup."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """``head`` is the last event's number and hash ("12345:ab12..."), ``migrations`` the steps by room."""

    made_at: datetime
    vendor: str
    head: str
    migrations: Mapping[str, Sequence[str]]
    members: Sequence[Member]

    def to_json(self) -> str:
        return json.dumps(
            {"format": FORMAT, **asdict(self), "made_at": self.made_at.isoformat()}, indent=1, sort_keys=True
        )


def read_manifest(text: str) -> Manifest:
    """The manifest of a backup. Raises :class:`NotABackup`."""
    try:
        told = json.loads(text)
        if told["format"] > FORMAT:
            raise NotABackup(
                f"The backup has format {told['format']}, and this program knows formats up to {FORMAT}: "
                "it was made by a newer program. Restore it with that one."
            )
        return Manifest(
            made_at=datetime.fromisoformat(told["made_at"]),
            vendor=str(told["vendor"]),
            head=str(told["head"]),
            migrations={str(app): [str(name) for name in names] for app, names in told["migrations"].items()},
            members=[Member(str(m["name"]), int(m["size"]), str(m["sha256"])) for m in told["members"]],
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise NotABackup("What the backup says of itself cannot be read: it is damaged.") from error


def newer_than(known: Mapping[str, set[str]], manifest: Manifest) -> list[str]:
    """Steps of the database that the backup has and this program does not know."""
    return [
        f"{app}.{name}"
        for app, names in sorted(manifest.migrations.items())
        for name in names
        if name not in known.get(app, set())
    ]
