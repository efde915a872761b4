"""The census as it was signed: every count, decision and draw, for whoever asks in ten years."""

from datetime import datetime, tzinfo
from typing import Any

from inventory.book.models import PeriodVersion
from inventory.book.rules.fingerprint import canonical
from inventory.book.statements import Paper

from ..models import Census, Count, Decision
from ..queries.progress import accuracy_table, differences_by_unit
from ..queries.reading import LineRead, Row, read_census
from ..queries.settings import settings_of
from ..rules.words import CensusState

STATEMENT = "census"


def papers(version: PeriodVersion, zone: tzinfo) -> list[Paper]:
    """The census of the period as it stands while it is signed; none for a period without one."""
    census = Census.objects.filter(period=version.period).exclude(state=CensusState.ABANDONED.value).first()
    if census is None:
        return []
    return [Paper(STATEMENT, "application/json", canonical(_census(census, zone)))]


def _census(census: Census, zone: tzinfo) -> dict[str, Any]:
    settings = settings_of(census)
    rows = read_census(census, settings=settings)
    return {
        "census": census.code,
        "cutoff": _moment(census.cutoff, zone),
        "classes": census.classes,
        "opened_by": census.opened_by.name,
        "sheets": [
            {"number": sheet.number, "place": sheet.place.code, "state": sheet.state}
            for sheet in census.sheets.select_related("place").order_by("number")
        ],
        "accuracy": [
            {
                "class": one.count_class,
                "lines": one.lines,
                "first": [one.first.lines, one.first.exact, one.first.inside],
                "latest": [one.latest.lines, one.latest.exact, one.latest.inside],
            }
            for one in accuracy_table(rows, settings)
        ],
        "differences": {
            unit: [found.gains, found.gain_lines, found.losses, found.loss_lines]
            for unit, found in differences_by_unit(rows).items()
        },
        "lines": [_line(row, part, zone) for row in rows for part in row.parts],
        "no_second_names": [
            {"task": one.task, "why": one.why, "by": one.stated_by.name}
            for one in census.no_second_names.select_related("stated_by")
        ],
        "signed_without_sample": [
            {"why": one.why, "by": one.by.name, "at": _moment(one.at, zone)}
            for one in census.signed_without_sample.select_related("by")
        ],
        "draws": [
            {"what": draw.what, "seed": draw.seed, "at": _moment(draw.drawn_at, zone)}
            for draw in census.draws.all()
        ],
    }


def _line(row: Row, part: LineRead, zone: tzinfo) -> dict[str, Any]:
    line = part.line
    return {
        "line": str(line),
        "place": line.place.code,
        "name": row.name,
        "unit": line.unit,
        "class": line.count_class,
        "lots": [lot.accession for lot in part.lots],
        "state": row.state.value,
        "counts": [_count(part.counts[round_], part, zone) for round_ in sorted(part.counts)],
        "typed_over": [_count(count, None, zone) for count in part.typed_before],
        "decisions": [_decision(decision, zone) for decision in part.decisions],
    }


def _count(count: Count, part: LineRead | None, zone: tzinfo) -> dict[str, Any]:
    return {
        "round": count.round,
        "by": count.counter.name if count.counter else count.party,
        "at": _moment(count.counted_at, zone),
        "value": count.value,
        "at_least": count.at_least,
        "letter": count.letter,
        "book": part.present(count.round) if part else None,
        "typed_by": count.typed_by.name,
        "typed_at": _moment(count.typed_at, zone),
        "seen": {s.lot.accession: s.seen for s in count.sightings.all()},
    }


def _decision(decision: Decision, zone: tzinfo) -> dict[str, Any]:
    names = {
        "by": decision.decided_by,
        "approved_by": decision.approved_by,
        "countersigned_by": decision.countersigned_by,
        "owner": decision.owner,
    }
    return {
        "how": decision.how,
        "reason": decision.reason,
        "n": decision.n,
        "book": decision.book,
        "counted": decision.counted,
        "at": _moment(decision.decided_at, zone),
        "events": [event.pk for event in decision.events.all()],
        "evidence": decision.evidence,
        "note": decision.note,
        **{name: person.name for name, person in names.items() if person},
    }


def _moment(moment: datetime, zone: tzinfo) -> str:
    return moment.astimezone(zone).isoformat(timespec="minutes")
