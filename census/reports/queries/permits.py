"""Layout D: by source and permit, one block a permit, then every source of the house."""

from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import count
from threading import Lock
from urllib.parse import urlencode

from django.db import connection
from django.urls import reverse

from census.change.queries.remembered import remembered_reports
from census.change.queries.report import Report
from census.change.queries.unhindered import without_collecting
from census.change.rules.question import By, Question
from inventory.book.queries.quantities.sql import rows
from inventory.book.rules.words import MINUS, count_of, whole
from inventory.permits.models import Case, Per, Permit, PermitReturn
from inventory.permits.queries.accounts import LineAccount, PermitAccount, accounts
from inventory.permits.queries.notices import Notice, notices
from inventory.permits.queries.pages import in_layout
from inventory.permits.queries.whereabouts import PermitWhereabouts, whereabouts
from inventory.permits.rules.whereabouts import FATES, Whereabouts, in_words

from ..rules.document import Block, Column, Document, Figure, Identity, Kind, Line, Part, Said, Table
from ..rules.lines import MadeLines
from ..rules.permit_bars import Bars, bar_of
from ..rules.said import Saying
from .asking import address_of, classified, figure, local_moment, selected
from .head import Names, head_lines, names_of, present_only
from .permit_takes import key_of, takes_told, unit_of
from .taxa import SHORT, SHORT_TIES, short_figures, short_numbers

TAKEN = ("caught", "let_go", "died", "kept")
_FATES = in_layout(FATES)
COLUMNS = (
    Column("names", "accepted name", Kind.TEXT, summed=False),
    Column("limit", "limit", Kind.TEXT, summed=False),
    Column("caught", "taken"),
    Column("let_go", "let go"),
    Column("died", "died on the way"),
    Column("kept", "kept"),
    Column("counted", "counts against the limit", summed=False),
    Column("used", "used of the limit", summed=False),
    Column("left", "limit left (below zero: over)", summed=False),
    Column("stock", "into the stock", summed=False),
    *(Column(f"now_{fate.code}", f"of those: {fate.words}", summed=False) for fate in _FATES),
)
_TIES = (Identity(("caught",), ("let_go", "died"), "kept"),)


def by_permit(question: Question, saying: Saying) -> Document:
    """The account of every permit at the end of the last day, and the change of every source in the period.

    A constant number of queries.
    """
    question = replace(question, by=By.SOURCE)
    report, house = remembered_reports(question, [By.SOURCE, By.TAXON], zone=saying.zone)
    permits = list(Permit.objects.select_related("authority").order_by("number"))
    day, zone, known = question.last_day, saying.zone, question.known_at
    found = accounts(permits, as_of=day, zone=zone, known_at=known)
    where = whereabouts(permits, as_of=day, zone=zone, known_at=known)
    feet = _feet(permits, question, saying)
    numbers = count(1)
    asked = {"as_of": question.last_day.isoformat(), "known_at": local_moment(question, saying)}
    blocks = [
        _block(
            found[permit.pk], where[permit.pk], saying, asked=asked, notes=feet[permit.pk], numbers=numbers
        )
        for permit in permits
    ]
    part = Part(
        "permits",
        "Permits",
        "the permit's words",
        COLUMNS,
        blocks,
        _TIES,
        words="Taken is what was caught, whatever became of it. Of animals that stand in pools the least and"
        " the most are told, with the even share in brackets; such ranges are not added up. Used of the limit"
        " is what counts in the time that the limit is stated for: in all, this year, on the trip with most,"
        " or held here now.",
    )
    sources, notes = _remembered_sources(report, question, saying, first=next(numbers))
    return Document(
        layout="permits",
        title=f"Sources and permits, {saying.days(question.first_day, question.last_day)}",
        head=[
            *head_lines(
                report,
                report.totals,
                saying,
                estimates="of pools least to most with the even share; all else is whole animals",
            ),
            (
                "permits",
                f"each for its whole run, at the end of {saying.day(question.last_day)}, of all trips",
            ),
        ],
        parts=[part, sources],
        questions=[question],
        said=_said(house),
        untied=[*report.named_untied, *house.named_untied],
        present_only=present_only(),
        notes=notes,
        ties=(
            f"Ties: opening + in {MINUS} out + late = closing for every source; taken is let go, died on the"
            " way and kept on every line; every total is the sum of its lines, and the sources are the house."
        ),
        takes=partial(takes_told, found, saying),
        unnamed="had no event in the period, no take in the whole run where it is a permit's",
    )


def _block(
    account: PermitAccount,
    where: PermitWhereabouts,
    saying: Saying,
    *,
    asked: Mapping[str, str],
    notes: Sequence[str],
    numbers: Iterator[int],
) -> Block:
    permit, version = account.permit, account.read.version
    # What is left of a limit can no longer be taken.
    ended = ", ended" if version.valid_until < account.as_of else ""
    facts = [
        ("authority", permit.authority.name),
        ("holder", permit.holder),
        ("valid", f"{saying.days(version.valid_from, version.valid_until)}{ended}"),
        ("conditions", " ".join(version.conditions.split())),
    ]
    kept: dict[tuple[int | None, str], Whereabouts] = {(row.line, row.unit): row for row in where.rows}
    units: dict[str, list[LineAccount]] = {}
    for line in account.lines:
        units.setdefault(unit_of(line), []).append(line)
    tables = []
    for unit, lines in units.items():
        of_unit = {**asked, "permit": str(permit.pk), "unit": unit}
        made = [
            Line(
                next(numbers),
                None,
                _words(line),
                partial(_figures, line, kept.get((line.number, unit)), of_unit),
                annex=key_of(permit, line),
            )
            for line in lines
        ]
        together = next((row for row in where.together if row.unit == unit), None)
        label = f"All of {permit.number}{_besides(account, where, unit)}"
        tables.append(Table(unit, made, _total(lines, together, of_unit), label))
    shown = [(heading, text) for heading, text in facts if text]
    title = f"{permit.number} ({permit.short})" if permit.short else permit.number
    return Block(title, shown, tables, [*_in_other_units(account, where), *notes], _bars(account, title))


def _in_other_units(account: PermitAccount, where: PermitWhereabouts) -> Iterator[str]:
    """What stands in the total of the unit in which the stock counts it, and on no line there."""
    for line, row in _elsewhere(account, where):
        bounds = ((fate, row.by_fate[fate]) for fate in _FATES)
        fates = ", ".join(f"{in_words(one)} {fate.words}" for fate, one in bounds if one.most)
        yield (
            f"{_words(line)}: what was kept came into the stock as"
            f" {count_of(row.kept, row.unit)}, which the total of that unit has besides: {fates}."
        )


def _besides(account: PermitAccount, where: PermitWhereabouts, unit: str) -> str:
    """Said where the total stands, for there it is more than the sum of the lines above it."""
    found = [(line, row) for line, row in _elsewhere(account, where) if row.unit == unit]
    if not found:
        return ""
    told = ", ".join(f"{whole(row.kept)} of the permit's line {line.number}" for line, row in found)
    return f" (stock: with {told}, see the note)"


def _elsewhere(account: PermitAccount, where: PermitWhereabouts) -> Iterator[tuple[LineAccount, Whereabouts]]:
    """Lines of which the stock has animals in another unit than they were taken in."""
    counted = {(line.number, unit_of(line)) for line in account.lines}
    lines = {line.number: line for line in account.lines}
    for row in where.rows:
        if (row.line, row.unit) not in counted and row.line in lines and row.kept and not row.hidden:
            yield lines[row.line], row


def _bars(account: PermitAccount, title: str) -> Bars:
    """Every line that states a limit, those of a group among them, as the table has them."""
    bars = [
        bar_of(
            _words(line),
            line.limit,
            limit=account.read.limit(line.line),
            used=line.used,
            takes=[take.counts for take in line.takes],
            as_of=account.as_of,
        )
        for line in account.lines
        if line.line is not None and not line.hidden
    ]
    drawn = [bar for bar in bars if bar is not None]
    return Bars(f"permit-{account.permit.pk}", f"{title} against its limits", drawn, len(bars) - len(drawn))


def _words(line: LineAccount) -> str:
    return f"{line.number or ''} {line.words}".strip()


def _figures(line: LineAccount, where: Whereabouts | None, asked: Mapping[str, str]) -> dict[str, Figure]:
    used = line.used
    mine = {**asked, "line": "" if line.number is None else str(line.number)}
    left: int | str | None = -used.over if used.over else used.left
    if left is not None and not used.over and line.line is not None and line.line.per == Per.TRIP:
        # What the next trip may take, not what the one with most left of it.
        left = f"{whole(used.left or 0)} a trip"
    return {
        "names": Figure(", ".join(line.names)),
        "limit": Figure(line.limit),
        **{name: _taken(getattr(used, name), name, mine) for name in TAKEN},
        "counted": Figure(used.counted),
        "used": Figure(None if line.line is None or line.line.limit is None else used.used),
        "left": Figure(left),
        **_where(where, mine),
    }


def _total(
    lines: Sequence[LineAccount], together: Whereabouts | None, asked: Mapping[str, str]
) -> dict[str, Figure]:
    sums = {name: sum(getattr(line.used, name) for line in lines) for name in TAKEN}
    return {
        "names": Figure(""),
        "limit": Figure(""),
        **{name: _taken(n, name, {**asked, "line": "all"}) for name, n in sums.items()},
        "counted": Figure(None),
        "used": Figure(None),
        "left": Figure(None),
        **_where(together, asked),
    }


def _taken(n: int, name: str, asked: Mapping[str, str]) -> Figure:
    address = f"{reverse('permit_takes')}?{urlencode({**asked, 'figure': name})}" if n else ""
    return Figure(n, at=address)


def _where(where: Whereabouts | None, asked: Mapping[str, str]) -> dict[str, Figure]:
    """A number where it is sure, else the range in words. It opens the permit's own page, which tells how."""
    if where is None or where.hidden:
        return {"stock": Figure(None), **{f"now_{fate.code}": Figure(None) for fate in _FATES}}
    page = f"{reverse('permit', args=[asked['permit']])}?{urlencode({'as_of': asked['as_of']})}#use"
    found = {"stock": Figure(where.kept, at=page if where.kept else "")}
    for fate in _FATES:
        bounds = where.by_fate[fate]
        value: int | str = bounds.least if bounds.sure else in_words(bounds)
        found[f"now_{fate.code}"] = Figure(value, at=page if value else "")
    return found


def _feet(permits: Sequence[Permit], question: Question, saying: Saying) -> dict[int, list[str]]:
    """Notices, returns and cases of each permit, of what was by the last day. Constant queries."""
    found: dict[int, list[str]] = {permit.pk: [] for permit in permits}
    last = question.last_day
    for one in notices(on=last, zone=saying.zone, permits=permits):
        if one.found_on > last:
            continue
        found[one.permit.pk].append(_notice(one, saying))
    returns = PermitReturn.objects.filter(permit__in=permits, starts_on__lte=last).prefetch_related(
        "sendings"
    )
    for made in returns.order_by("serial", "version"):
        days = saying.days(made.starts_on, made.ends_on)
        sent = ", ".join(f"sent {saying.day(one.sent_on)}" for one in made.sendings.all()) or "not sent"
        found[made.permit_id].append(f"Return {made.serial}, version {made.version}, {days}: {sent}.")
    for case in (
        Case.objects.filter(permit__in=permits, trip__starts_on__lte=last)
        .select_related("owner")
        .prefetch_related("notes")
    ):
        state = "closed" if case.closed_at else f"open, {case.owner.name}"
        words = case.words if not case.last_words else f"{case.words}; then: {case.last_words}"
        found[case.permit_id].append(f"Case ({state}): {case.get_kind_display()}: {saying.sentence(words)}.")
    return found


def _notice(one: Notice, saying: Saying) -> str:
    told = ", ".join(f"{sending.n} told {saying.day(sending.sent_on)}" for sending in one.told)
    return (
        f"Notice of {one.n} {one.kind_words} ({one.lot.accession}), found {saying.day(one.found_on)}, due"
        f" {saying.day(one.due_on)}: {told or 'not told yet'}."
    )


@dataclass(frozen=True, slots=True)
class _Kept:
    """The part of all sources as it was made of a report and of names, its lines numbered from ``first``.

    ``named``: the newest lot and the newest name of a taxon when the names were read.
    """

    report: Report
    named: tuple[object, ...]
    names: Names
    first: int
    part: Part


PARTS_KEPT = 2
_parts: OrderedDict[tuple[Question, Saying, str], _Kept] = OrderedDict()
_lock = Lock()

# A lot keeps the name under which it came, and a name that a taxon bore stays; what else a name is made of
# makes another report.
_NAMED = "SELECT (SELECT MAX(id) FROM book_lot), (SELECT MAX(id) FROM names_taxonname)"


def _remembered_sources(
    report: Report, question: Question, saying: Saying, *, first: int
) -> tuple[Part, list[str]]:
    """The sources with the notes on their names. The permits above are read anew each time: what they tell
    is written in many places; the sources are most of the report, and made of the report and names alone.

    One query, two more where the names are read anew.
    """
    key = (question, saying, str(connection.settings_dict["NAME"]))
    named = rows(_NAMED, [])[0]
    with _lock:
        kept = _parts.get(key)
    same = kept is not None and kept.report is report and kept.named == named
    if kept is None or not same or kept.first != first:
        address = address_of(question, local_moment(question, saying))
        with without_collecting():
            names = (
                kept.names
                if kept is not None and same
                else names_of(report.rows.named_taxa().values(), question, saying)
            )
            kept = _Kept(report, named, names, first, _sources(report, address, names, first))
    with _lock:
        _parts[key] = kept
        _parts.move_to_end(key)
        while len(_parts) > PARTS_KEPT:
            _parts.popitem(last=False)
    return kept.part, kept.names.notes


def forget() -> None:
    """Everything; for who measures."""
    with _lock:
        _parts.clear()


def _sources(report: Report, asked: Mapping[str, str], names: Names, number: int) -> Part:
    """Every source, permits and others alike; a pool stands under all of its own. Lines are numbered from
    ``number``."""
    every = report.rows
    of_sources = every.in_order(every.unit_ranks(), every.label_ranks(), every.taxon_ranks(classified))

    def line(first: int, at: int) -> Line:
        at += first
        row = of_sources[at]
        return Line(
            number + at,
            names.of(row.taxon),
            row.label,
            partial(short_figures, row.change, {**asked, **selected(row, By.SOURCE)}),
            annex=tuple(row.key),
        )

    tables = []
    for first, last in of_sources.spans(of_sources.unit, 0, len(of_sources)):
        unit = of_sources.units[int(of_sources.unit[first])]
        columns = of_sources.columns.at(slice(first, last))
        total = short_figures(report.totals[unit], {**asked, "unit": unit})
        lines = MadeLines(last - first, partial(line, first))
        tables.append(Table(unit, lines, total, numbers=partial(short_numbers, columns)))
    return Part("sources", "Sources", "source", SHORT, [Block("Sources", [], tables)], SHORT_TIES)


def _said(house: Report) -> list[Said]:
    return [
        Said(f"{words} of the house", "sources", column, unit, figure(total, column, {}).number)
        for unit, total in house.totals.items()
        for words, column in (("opening", "opening"), ("late", "late"), ("closing", "closing"))
    ]
