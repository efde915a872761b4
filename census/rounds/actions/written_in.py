"""Decides what a written-in animal is; the book changes only by what comes of it (story of the stray)."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Any

from django.db import transaction

from inventory.book.actions.register import RowsRefused, register_lots
from inventory.book.models import Lot
from inventory.book.rules.found_as import FoundAs
from inventory.book.rules.sheets import LotRow
from inventory.db.locks import serialize_writers
from inventory.names.models import Taxon
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import ApprovalAsked, Decision, Line, WriteInFinding
from ..queries.written_class import class_found, counted_by_two
from ..rules.settling import Settling
from ..rules.tolerance import EXACT
from ..rules.who import DECIDES
from ..rules.words import How, LineKind, NoticeKind
from .allowed import require
from .asking import keep_asked, read_needed
from .counts import current_count
from .decide import decide_line
from .mailing import send_by_mail
from .refused import CensusRefused
from .telling import tell

# What came by itself joins the stock as an adjustment for its reason, under the limits of approval.
_REASONS = {
    FoundAs.CAME_WITH: "came with rock, kelp or animals",
    FoundAs.SETTLED: "settled from sea water",
}


@dataclass(frozen=True, slots=True)
class Found:
    """What the registrar states. ``taxon``: its name in the house, for what joins the stock or is
    introduced; ``other_line``: the line that has it under another name, or that it left unrecorded,
    then with the day (``happened``); ``accession``: a lot that is there already, else one is made.
    """

    found_as: FoundAs
    taxon: Taxon | None = None
    other_line: Line | None = None
    accession: str = ""
    happened: str = ""
    note: str = ""


@transaction.atomic
def find_write_in(
    *,
    line: Line,
    found: Found,
    by: Person,
    now: datetime,
    zone: tzinfo,
    approved_by: Person | None = None,
    countersigned_by: Person | None = None,
) -> WriteInFinding:
    """Keeps what the animal was found to be and settles its line. Raises :class:`CensusRefused`.

    An introduced species is never stock by this: the permit officer is told, by e-mail too, and the line
    says so.
    """
    require(by, DECIDES, "decide what was written in")
    line = Line.objects.select_related("sheet__census", "place").get(pk=line.pk)
    problems = _problems(line, found)
    if problems:
        raise CensusRefused(*(f"{line}: {problem}" for problem in problems))
    _take_class(line, found)
    lot = None
    if found.found_as in _REASONS:
        lot = _stocked(line, found)
        decision = decide_line(
            line=line,
            settling=_joining(line, found, lot),
            approved_by=approved_by,
            countersigned_by=countersigned_by,
            by=by,
            now=now,
            zone=zone,
        )
    elif found.found_as is FoundAs.MOVED and found.other_line is not None:
        decision = _moved(line, found, approved_by=approved_by, by=by, now=now, zone=zone)
        lot = found.other_line.lots.first()
    else:
        decision = decide_line(line=line, settling=_noted(line, found), by=by, now=now, zone=zone)
    if found.found_as is FoundAs.INTRODUCED:
        name = found.taxon.scientific_name if found.taxon else line.written_name
        words = f"Introduced species in {line.place.code}: {name}, {line}. Decide whether it is kept."
        notice = tell(Role.PERMIT_OFFICER, NoticeKind.INTRODUCED, words, by=by, now=now, line=line)
        send_by_mail(notice, now=now)
    return WriteInFinding.objects.create(
        line=line,
        found_as=found.found_as.value,
        taxon=found.taxon,
        other_line=found.other_line,
        lot=lot,
        event=decision.events.first(),
        note=found.note[:300],
        found_by=by,
        found_at=now,
    )


@transaction.atomic
def ask_write_in(
    *, line: Line, found: Found, by: Person, now: datetime, zone: tzinfo
) -> ApprovalAsked | WriteInFinding:
    """Keeps the finding until those whose names it needs have answered; nothing is in the book until then.

    What needs nobody's name is decided at once. Raises :class:`CensusRefused` with what stands against it.
    """
    require(by, DECIDES, "decide what was written in")
    serialize_writers()
    line = Line.objects.select_related("sheet__census", "place").get(pk=line.pk)
    problems = _problems(line, found)
    if problems:
        raise CensusRefused(*(f"{line}: {problem}" for problem in problems))
    if found.found_as not in _REASONS or found.taxon is None:
        return find_write_in(line=line, found=found, by=by, now=now, zone=zone)
    _take_class(line, found)
    settling = replace(_joining(line, found), evidence=_joins(found))
    row, needed = read_needed(line, settling, by=by, now=now, zone=zone)
    if needed.registrar_alone:
        return find_write_in(line=line, found=found, by=by, now=now, zone=zone)
    return keep_asked(line, row, settling, needed, by=by, now=now, found=_kept(found))


def found_as_kept(kept: Mapping[str, Any]) -> Found:
    """A finding that waited for approval, as it was stated."""
    return Found(
        found_as=FoundAs(kept["found_as"]),
        taxon=Taxon.objects.get(pk=kept["taxon"]),
        accession=kept["accession"],
        note=kept["note"],
    )


def _kept(found: Found) -> dict[str, Any]:
    """What came by itself, as plain values; other findings need nobody's name."""
    assert found.taxon is not None  # refused before
    return {
        "found_as": found.found_as.value,
        "taxon": found.taxon.pk,
        "accession": found.accession,
        "note": found.note,
    }


def _joins(found: Found) -> str:
    """What whoever approves reads of it."""
    into = f"lot {found.accession}" if found.accession else "a new lot"
    return f"found to be {found.taxon}, into {into}"


def _joining(line: Line, found: Found, lot: Lot | None = None) -> Settling:
    """The animals join the stock as an adjustment."""
    return Settling(
        how=How.ADJUSTMENT,
        reason=_REASONS[found.found_as],
        n=_number(line),
        accessions=(lot.accession,) if lot is not None else (),
        note=found.note,
    )


def _problems(line: Line, found: Found) -> list[str]:
    problems = []
    if line.kind != LineKind.WRITE_IN:
        problems.append("it stands on the list; only what was written in is found to be something")
    if found.found_as in (FoundAs.OTHER_NAME, FoundAs.MOVED) and found.other_line is None:
        what = "that has it under its name" if found.found_as is FoundAs.OTHER_NAME else "that it left"
        problems.append(f"name the line {what}")
    if found.other_line is not None and found.other_line.sheet.census_id != line.sheet.census_id:
        problems.append(f"{found.other_line} belongs to another census")
    if found.found_as in _REASONS and found.taxon is None:
        problems.append("say what it is; what nobody can name yet stays written in")
    if found.found_as in (*_REASONS, FoundAs.MOVED) and not _number(line):
        problems.append("a letter is no number: animals join the stock by a count")
    if found.found_as is FoundAs.MOVED and not found.happened:
        problems.append("say when it moved: a day, or an interval")
    if _joins_stock(found) and _class_found(found) == EXACT and not counted_by_two(line):
        problems.append(
            "it is of class A, which two count: ask another person to count it too; the book moves when "
            "both agree"
        )
    return problems


def _joins_stock(found: Found) -> bool:
    return found.found_as in _REASONS or (found.found_as is FoundAs.MOVED and found.other_line is not None)


def _class_found(found: Found) -> str:
    """The class of what it was found to be: of the lot that it joins, of the line that it left, else its
    kind's."""
    if found.found_as is FoundAs.MOVED and found.other_line is not None:
        return found.other_line.count_class
    return class_found(found.taxon, Lot.objects.filter(accession=found.accession).first())


def _take_class(line: Line, found: Found) -> None:
    """Class A is approved by its own rules; others stay without a class, for no book stood beside them."""
    line.count_class = EXACT if _joins_stock(found) and _class_found(found) == EXACT else ""
    line.save(update_fields=["count_class"])


def _stocked(line: Line, found: Found) -> Lot:
    """The lot that the animals join, put on the line; a new one unless an accession number is given."""
    assert found.taxon is not None  # refused above
    if found.accession:
        lot = Lot.objects.filter(accession=found.accession).first()
        if lot is None or lot.taxon_id != found.taxon.pk:
            raise CensusRefused(f"{line}: there is no lot {found.accession} of {found.taxon}.")
    else:
        row = LotRow(
            accession="",
            name=found.taxon.scientific_name,
            kind="colony" if line.unit == "colony" else "group",
            unit=line.unit,
        )
        try:
            made = register_lots([row], {row.name: found.taxon})
        except RowsRefused as refused:
            raise CensusRefused(str(refused)) from refused
        lot = Lot.objects.get(accession=made.names[0])
    line.taxon = found.taxon
    line.save(update_fields=["taxon"])
    line.lots.add(lot)
    return lot


def _moved(
    line: Line, found: Found, *, by: Person, now: datetime, zone: tzinfo, approved_by: Person | None
) -> Decision:
    """One late move from the other line settles both."""
    assert found.other_line is not None  # refused above
    line.taxon = found.other_line.taxon
    line.save(update_fields=["taxon"])
    settling = Settling(
        how=How.LATE_MOVE,
        reason="late move",
        n=_number(line),
        happened=found.happened,
        accessions=(found.accession,) if found.accession else (),
        note=found.note,
    )
    return decide_line(
        line=found.other_line,
        settling=settling,
        other_line=line,
        approved_by=approved_by,
        by=by,
        now=now,
        zone=zone,
    )


def _noted(line: Line, found: Found) -> Settling:
    if found.found_as is FoundAs.OTHER_NAME:
        return Settling(
            how=How.OBSERVATION,
            reason="wrong name",
            evidence=f"already on {found.other_line}",
            note=found.note,
        )
    note = found.note or "introduced species: the permit officer is told; not stock until it is decided"
    return Settling(how=How.OBSERVATION, note=note)


def _number(line: Line) -> int:
    """What was counted on the line; 0 for a letter."""
    latest = max((count.round for count in line.counts.all()), default=1)
    count = current_count(line, latest)
    return count.value or 0 if count is not None else 0
