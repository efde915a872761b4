"""What the census says of a lot or a place: sheets, counts, decisions, approvals, samples, refusals."""

from collections.abc import Iterator
from typing import Any

from django.db.models import Q
from django.urls import reverse

from census.rounds.models import (
    ApprovalAnswer,
    ApprovalAsked,
    Count,
    CountEntry,
    Decision,
    Recount,
    SampleResult,
    Scan,
    Sheet,
    Sighting,
    SpotCount,
    WriteInFinding,
)
from inventory.book.history import About, Subject, Told
from inventory.names.models import MovedLot

from ..models import SampleFinding


def told(subject: Subject) -> Iterator[Told]:
    """A constant number of queries for a lot or a place, none for a permit."""
    if subject.kind is About.PERMIT:
        return
    lot = subject.kind is About.LOT
    lines = Q(line__lots=subject.pk) if lot else Q(line__place=subject.pk)
    yield from _counts(lines)
    yield from _decisions(lines, Q(asked__line__lots=subject.pk) if lot else Q(asked__line__place=subject.pk))
    yield from _samples(subject)
    if lot:
        yield from _lot(subject)
    else:
        yield from _place(subject)


def _counts(lines: Q) -> Iterator[Told]:
    for count in Count.objects.filter(lines).select_related("line__sheet", "counter", "typed_by").distinct():
        who = count.counter.name if count.counter else count.party
        yield Told(
            count.counted_at,
            count.typed_at,
            f"count {count.round}",
            ", ".join(part for part in (_line(count.line), _counted(count), count.remark) if part),
            f"{who}, typed by {count.typed_by.name}" if who != count.typed_by.name else who,
            url=_url(count.line),
        )
    for one in Recount.objects.filter(lines).select_related("line__sheet", "of", "asked_by").distinct():
        words = f"{_line(one.line)}, count {one.round} by {one.of.name}"
        yield Told(one.asked_at, one.asked_at, "recount asked", words, one.asked_by.name, url=_url(one.line))
    found = WriteInFinding.objects.filter(lines).select_related("line__sheet", "found_by").distinct()
    for finding in found:
        words = f"{_line(finding.line)}: {finding.get_found_as_display()}"
        yield Told(
            finding.found_at, finding.found_at, "written in", words, finding.found_by.name, why=finding.note
        )


def _decisions(lines: Q, asked_of: Q) -> Iterator[Told]:
    decisions = Decision.objects.filter(lines).select_related("line__sheet", "decided_by", "approved_by")
    for one in decisions.distinct():
        approved = f", approved by {one.approved_by.name}" if one.approved_by else ""
        words = f"{_line(one.line)}: {one.get_how_display()}, {one.n:+d}"
        why = ". ".join(part for part in (one.reason, one.evidence, one.note) if part)
        yield Told(
            one.decided_at,
            one.decided_at,
            "decision",
            words,
            f"{one.decided_by.name}{approved}",
            why=why,
            url=_url(one.line),
        )
    for asked in ApprovalAsked.objects.filter(lines).select_related("line__sheet", "asked_by").distinct():
        words = f"{_line(asked.line)}: {asked.get_how_display()}, {asked.n:+d}"
        yield Told(
            asked.asked_at,
            asked.asked_at,
            "approval asked",
            words,
            asked.asked_by.name,
            why=asked.why,
            url=_url(asked.line),
        )
    for answer in (
        ApprovalAnswer.objects.filter(asked_of).select_related("asked__line__sheet", "by").distinct()
    ):
        yield Told(
            answer.at,
            answer.at,
            "approved" if answer.approved else "approval refused",
            f"{_line(answer.asked.line)}, as {answer.role.replace('_', ' ')}",
            answer.by.name,
            why=answer.why,
            refused=not answer.approved,
        )


def _samples(subject: Subject) -> Iterator[Told]:
    lot = subject.kind is About.LOT
    of_census = Q(drawn__line__lots=subject.pk) if lot else Q(drawn__place=subject.pk)
    for one in (
        SampleResult.objects.filter(of_census).select_related("counted_by", "drawn__line__sheet").distinct()
    ):
        line = f"{_line(one.drawn.line)}, " if one.drawn.line else ""
        words = f"{line}found {one.found}, {'right' if one.right else 'wrong'}"
        yield Told(one.counted_at, one.typed_at, "sample test", words, one.counted_by.name, why=one.note)
    of_inspection = Q(thing__lot=subject.pk) if lot else Q(thing__place=subject.pk)
    for found in SampleFinding.objects.filter(of_inspection).select_related("found_by", "thing__lot"):
        words = f"found {found.found}, {'right' if found.right else 'wrong'}"
        yield Told(
            found.found_at, found.found_at, "inspector's sample", words, found.found_by.name, why=found.note
        )
    spots = SpotCount.objects.filter(Q(lots=subject.pk) if lot else Q(place=subject.pk))
    for spot in spots.select_related("counter", "taxon", "place").distinct():
        words = f"{spot.taxon.scientific_name} in {spot.place.code}: {spot.value}, the book had {spot.book}"
        yield Told(spot.counted_at, spot.typed_at, "spot count", words, spot.counter.name, why=spot.note)


def _lot(subject: Subject) -> Iterator[Told]:
    seen = Sighting.objects.filter(lot=subject.pk).select_related("made_at__counter", "made_at__line__sheet")
    for one in seen:
        count = one.made_at
        who = count.counter.name if count.counter else count.party
        words = f"{_line(count.line)}: {one.seen}"
        yield Told(count.counted_at, count.typed_at, "roll-call", words, who, url=_url(count.line))
    for moved in MovedLot.objects.filter(accession=subject.key).select_related("from_taxon", "to_taxon"):
        words = f"{moved.from_taxon.scientific_name} to {moved.to_taxon.scientific_name}"
        yield Told(moved.at, moved.at, "name", words)


def _place(subject: Subject) -> Iterator[Told]:
    for sheet in Sheet.objects.filter(place=subject.pk):
        for what, moment in (
            ("sheet issued", sheet.issued_at),
            ("counting began", sheet.started_at),
            ("sheet handed in", sheet.handed_in_at),
            ("sheet accepted", sheet.accepted_at),
        ):
            if moment:
                url = reverse("sheet", args=[sheet.number])
                yield Told(
                    moment, moment, what, f"{sheet.number}, now {sheet.state}", url=url, why=sheet.note
                )
    scans = Scan.objects.filter(sheet__place=subject.pk).select_related("sheet", "added_by")
    for scan in scans:
        url = reverse("sheet_scan", args=[scan.sheet.number, scan.number])
        yield Told(scan.added_at, scan.added_at, "scan", scan.sheet.number, scan.added_by.name, url=url)
    back = CountEntry.objects.filter(sheet__place=subject.pk, came_back=True).select_related(
        "sheet", "person", "device"
    )
    for entry in back:
        problems = entry.answer.get("problems", []) if isinstance(entry.answer, dict) else []
        yield Told(
            entry.saved_at or entry.received_at,
            entry.received_at,
            "refused, count from a device",
            entry.sheet.number if entry.sheet else "",
            entry.person.name if entry.person else entry.device.name,
            why="; ".join(str(one.get("words", "")) for one in problems),
            refused=True,
        )


def _line(line: Any) -> str:
    return f"{line.sheet.number} line {line.number}"


def _url(line: Any) -> str:
    return reverse("census_line", args=[line.sheet.number, line.number])


def _counted(count: Count) -> str:
    if count.value is None:
        return f"letter {count.letter}" if count.letter else ""
    words = f"at least {count.value}" if count.at_least else str(count.value)
    return f"{words} ({count.low} to {count.high})" if count.low is not None else words
