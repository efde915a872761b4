"""A draft as the statement that is written into files and kept."""

from datetime import datetime

from django.utils.text import slugify

from inventory.book.rules.days import day_in_words

from ..rules.statements import Statement, fingerprint, total_words, totals
from .returns import Draft


def statement_of(
    draft: Draft,
    *,
    signer: str,
    now: datetime,
    explained: str = "",
    remark: str = "",
) -> Statement:
    """The return as it would be frozen at ``now`` by ``signer``."""
    lines = draft.lines
    head = _head(draft, signer=signer, now=now, explained=explained, remark=remark)
    return Statement(
        title=title_of(draft),
        name=name_of(draft),
        head=head,
        columns=draft.columns,
        rows=lines,
        made_on=now.astimezone(draft.zone).date(),
        signer=signer,
        fingerprint=fingerprint(head, draft.columns, lines),
    )


def title_of(draft: Draft) -> str:
    """ "Return under permit HISFB 2024/117\""""
    kind = "Nil return" if draft.asked.nil else "Return"
    return f"{kind} under permit {draft.permit.number}"


def name_of(draft: Draft) -> str:
    """The name of its files, without an ending."""
    return f"return-{slugify(draft.permit.number.replace('/', '-'))}-{draft.serial}-v{draft.version}"


def _head(draft: Draft, *, signer: str, now: datetime, explained: str, remark: str) -> list[tuple[str, str]]:
    permit, asked, version = draft.permit, draft.asked, draft.read.version
    local = now.astimezone(draft.zone)
    moment = f"{day_in_words(local.date())} {local:%H:%M}"
    records = [row.record for row in draft.rows]
    lines = [
        ("title", title_of(draft)),
        ("authority", permit.authority.name),
        ("holder", permit.holder),
        ("valid", f"{day_in_words(draft.read.first_valid_from)} to {day_in_words(version.valid_until)}"),
        ("takes of", f"{day_in_words(asked.starts_on)} to {day_in_words(asked.ends_on)}"),
        ("fates as of", f"the end of {day_in_words(asked.as_of)}, as known on {moment} ({draft.zone})"),
        ("return", _number(draft)),
        # Of nothing no name is told.
        *([("names after", records[0].release or "no backbone")] if records else []),
        ("house", draft.found.house),
        ("made", f"{moment} by {signer}"),
        ("rows", _rows(draft)),
    ]
    for unit, numbers in totals(row.values for row in draft.rows).items():
        lines.append((f"sum, {unit}", total_words(numbers)))
    if asked.nil:
        lines.append(("nil", "Nothing was taken under this permit in these days."))
    lines += [("made less exact", words) for words in _generalised(draft)]
    if explained and not asked.nil:
        lines.append(("explained", explained))
    if remark:
        lines.append(("remark", remark))
    return lines


def _number(draft: Draft) -> str:
    words = f"{draft.serial}, version {draft.version}"
    amends = draft.asked.amends
    if amends is not None:
        made = amends.frozen_at.astimezone(draft.zone)
        words += f": amends version {amends.version} of {day_in_words(made.date())}"
    return words


def _rows(draft: Draft) -> str:
    words = str(len(draft.rows))
    gone = len(draft.withdrawn) if draft.asked.amends is not None else 0
    return f"{words}, and {gone} withdrawn" if gone else words


def _generalised(draft: Draft) -> list[str]:
    if draft.coarse is None:
        return []
    said = [(row.told["dataGeneralizations"], row.told["informationWithheld"]) for row in draft.rows]
    return list(dict.fromkeys(str(words) for pair in said for words in pair if words))
