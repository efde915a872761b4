"""Layout G: the statement of changed figures, as it was kept with each restatement."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from django.urls import reverse

from census.change.queries.closings import knowledge
from census.change.queries.report import Report
from census.change.queries.rows import no_rows
from census.change.rules.columns import HEADINGS
from census.change.rules.question import Basis, By, Question
from inventory.book.models import Event, PeriodVersion, VersionStatement
from inventory.book.rules.scope import Scope
from inventory.book.rules.words import KIND_WORDS
from inventory.book.statements import CHANGED
from inventory.names.models import Taxon, TaxonName
from inventory.permits.queries.returns_touched import Touched, returns_touched

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Name, Part, Piece, Table
from ..rules.said import Saying
from .asking import address_of
from .head import head_lines

_COLUMNS = (
    Column("figure", "column", Kind.TEXT, summed=False),
    Column("old", "old", summed=False),
    Column("new", "new", summed=False),
    Column("change", "change", Kind.SIGNED, summed=False),
    Column("events", "what was entered since", Kind.TEXT, summed=False),
    Column("returns", "returns touched", Kind.TEXT, summed=False),
)
_RETURNS = (
    "Returns touched are those to an authority that were made before the event was entered and speak of its"
    " animals; what each says now, and whether it must be amended, stands on its page."
)
_NONE = "No period within these days was restated: every figure is as it was reported."
_TIES = (Identity(("old", "change"), (), "new"),)
_TIED = "Ties: the old figure and its change are the new figure on every line, as kept at the closings."


def changed_figures(question: Question, saying: Saying) -> Document:
    """Every restatement of a period that lies in these days; the figures are those of the papers of the
    closings, of animals here. A constant number of queries."""
    question = replace(question, by=By.TAXON, scope=Scope.HERE, basis=Basis.REPORTED)
    kept = _kept(question)
    names = _taxa(kept)
    events = _events(kept)
    touched = returns_touched(events, zone=saying.zone, known_at=question.known_at)
    numbers = iter(range(1, 10**9))
    blocks = [
        _block(old, new, rows, names=names, events=_Told(events, touched, saying), numbers=numbers)
        for old, new, rows in kept
    ]
    known = knowledge(question)
    report = Report(question, known[0], known[1], no_rows(), {})
    units = sorted({str(row["unit"]) for _, _, rows in kept for row in rows})
    words = (
        _RETURNS
        if blocks
        else "No period within these days was restated: every figure is as it was reported."
    )
    return Document(
        layout="changed",
        title=f"Changed figures, {saying.days(question.first_day, question.last_day)}",
        head=head_lines(report, units, saying, estimates="none: every figure is as it was kept"),
        parts=[Part("changed", "Changed figures", "versions", _COLUMNS, blocks, _TIES, words)],
        questions=[question],
        ties=_TIED,
    )


_Kept = tuple[PeriodVersion, PeriodVersion, list[dict[str, Any]]]


def _kept(question: Question) -> list[_Kept]:
    """Old version, new version and the rows that were kept, oldest first. Two queries."""
    papers = VersionStatement.objects.filter(
        name=CHANGED,
        version__period__starts_on__gte=question.first_day,
        version__period__ends_on__lte=question.last_day,
    ).select_related("version__period", "version__signed_by")
    if question.known_at is not None:
        papers = papers.filter(version__closed_at__lte=question.known_at)
    ordered = list(papers.order_by("version__boundary", "version__number"))
    versions = PeriodVersion.objects.select_related("period", "signed_by").filter(
        period__in=[paper.version.period_id for paper in ordered]
    )
    by_number = {(one.period_id, one.number): one for one in versions}
    return [
        (
            by_number[paper.version.period_id, paper.version.number - 1],
            paper.version,
            json.loads(bytes(paper.content)),
        )
        for paper in ordered
    ]


def _taxa(kept: Sequence[_Kept]) -> dict[str, Taxon]:
    """The taxa that bear these names, or bore them once. Two queries."""
    wanted = {str(row["name"]) for _, _, rows in kept for row in rows}
    borne = TaxonName.objects.filter(scientific_name__in=wanted).select_related("taxon")
    found = {one.scientific_name: one.taxon for one in borne.order_by("since")}
    found.update({one.scientific_name: one for one in Taxon.objects.filter(scientific_name__in=wanted)})
    return found


def _events(kept: Sequence[_Kept]) -> dict[int, Event]:
    ids = {event["event"] for _, _, rows in kept for row in rows for event in row["events"]}
    return Event.objects.select_related("entered_by", "approved_by").in_bulk(ids)


def _block(
    old: PeriodVersion,
    new: PeriodVersion,
    rows: Sequence[dict[str, Any]],
    *,
    names: Mapping[str, Taxon],
    events: "_Told",
    numbers: Iterator[int],
) -> Block:
    saying = events.saying
    tables = []
    for unit in sorted({str(row["unit"]) for row in rows}):
        lines = []
        for row in (one for one in rows if one["unit"] == unit):
            taxon = names.get(str(row["name"]))
            name = Name(str(row["name"]), common=taxon.common_name if taxon else "")
            make = partial(_figures, row, (old, new), taxon, events)
            lines.append(Line(next(numbers), name, f"{old.number} to {new.number}", make, free=_is_text(row)))
        tables.append(Table(unit, lines, {column.key: Figure(None) for column in _COLUMNS}, ""))
    facts = [
        ("old", f"{old}, signed by {old.signed_by}, {saying.moment(old.closed_at)}"),
        ("new", f"{new}, signed by {new.signed_by}, {saying.moment(new.closed_at)}"),
        ("why", new.note),
        ("returns touched", "; ".join(one.words + one.since for one in events.touched(rows)) or "none"),
    ]
    shown = [(heading, text) for heading, text in facts if text]
    notes = [] if rows else ["No figure differs between the two versions."]
    return Block(f"{new.period}: version {old.number} to version {new.number}", shown, tables, notes)


def _is_text(row: Mapping[str, Any]) -> bool:
    return not isinstance(row["old"], int)


def _figures(
    row: Mapping[str, Any],
    versions: tuple[PeriodVersion, PeriodVersion],
    taxon: Taxon | None,
    events: "_Told",
) -> dict[str, Figure]:
    column = str(row["figure"])
    returns = [Piece(one.words, reverse("return", args=[one.pk]), one.since) for one in events.touched([row])]
    return {
        "figure": Figure(HEADINGS.get(column, column)),
        "old": _opened(row["old"], column, str(row["unit"]), versions[0], taxon),
        "new": _opened(row["new"], column, str(row["unit"]), versions[1], taxon),
        "change": Figure(None if _is_text(row) else int(row["new"]) - int(row["old"])),
        "events": Figure.of_pieces(events.pieces(row)),
        "returns": Figure.of_pieces(returns, "none"),
    }


def _opened(value: int | str, column: str, unit: str, version: PeriodVersion, taxon: Taxon | None) -> Figure:
    """The figure with its events, as that version knew them."""
    if taxon is None or not value:
        return Figure(value)
    question = Question(version.period.starts_on, version.period.ends_on)
    asked = address_of(question, version.closed_at.isoformat())
    asked |= {"unit": unit, "taxon": str(taxon.pk), "figure": column.removesuffix("_mfu")}
    return Figure(value, asked)


@dataclass(frozen=True, slots=True)
class _Told:
    """The events of all restatements, and the returns that each of them touches."""

    events: Mapping[int, Event]
    returns: Mapping[int, Sequence[Touched]]
    saying: Saying

    def pieces(self, row: Mapping[str, Any]) -> list[Piece]:
        """The events of a row in words, each with its page."""
        found = [self.events[one["event"]] for one in row["events"] if one["event"] in self.events]
        return [
            Piece(f"event {one.pk}", reverse("event", args=[one.pk]), _told(one, self.saying))
            for one in found
        ]

    def touched(self, rows: Iterable[Mapping[str, Any]]) -> list[Touched]:
        """The returns that the events of these rows touch, each once."""
        events = dict.fromkeys(one["event"] for row in rows for one in row["events"])
        found = {each: None for pk in events for each in self.returns.get(pk, ())}
        return sorted(found, key=lambda each: (each.permit, each.serial, each.version))


def _told(event: Event, saying: Saying) -> str:
    approved = f", approved by {event.approved_by.name}" if event.approved_by else ""
    why = event.reason or event.cause or event.note
    return (
        f", {KIND_WORDS.get(event.kind, event.kind)}, happened {saying.happened(event.happened)}, entered"
        f" {saying.moment(event.entered_at)} by {event.entered_by.name}{approved}{f': {why}' if why else ''}"
    )
