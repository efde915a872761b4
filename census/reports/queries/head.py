"""What stands over every layout, and the names of its rows."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from census.change.queries.closings import Knowledge
from census.change.queries.head import LEFT_OUT
from census.change.queries.report import Report
from census.change.rules.question import Basis, Question
from census.change.rules.words import SCOPE_WORDS
from inventory.book.models import Lot
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.names.models import BackboneRelease, Taxon, TaxonName
from inventory.people.queries import the_house

from ..rules.document import Name
from ..rules.said import Saying


def head_lines(
    report: Report, units: Iterable[str], saying: Saying, *, estimates: str
) -> list[tuple[str, str]]:
    """Whose report, of what, as known when, and what is left out. Two queries."""
    question = report.question
    house = the_house()
    release = BackboneRelease.objects.filter(is_current=True).first()
    lines = [
        ("house", house.name if house else ""),
        ("licence number", house.licence_number if house else ""),
        ("period", f"{saying.days(question.first_day, question.last_day)}, both days inside"),
        ("time zone", str(saying.zone)),
        ("basis", basis(report, saying)),
        ("opening signed", _signed(report.opening, saying)),
        ("closing signed", _signed(report.closing, saying)),
        ("scope", SCOPE_WORDS[question.scope]),
        *report.scopes,
        ("units", ", ".join(units) or "none"),
        ("names", f"accepted names of {release}" if release else "as the house writes them"),
        ("left out", LEFT_OUT),
        ("estimates", estimates),
    ]
    return [(heading, text) for heading, text in lines if text]


def basis(report: Report, saying: Saying) -> str:
    """``as reported (opening: 2026 Q2 version 1; ...)`` or ``as known at 6 October 2026 09:10``."""
    question = report.question
    known = "now" if question.known_at is None else f"at {saying.moment(question.known_at)}"
    if question.basis is Basis.KNOWN:
        return f"as known {known}"
    opening, closing = (
        one.name or f"not closed, as known {known}" for one in (report.opening, report.closing)
    )
    return f"as reported (opening: {opening}; closing: {closing})"


def _signed(known: Knowledge, saying: Saying) -> str:
    version = known.version
    return "" if version is None else f"{version}, by {version.signed_by}, {saying.moment(version.closed_at)}"


def present_only() -> list[str]:
    """Taxa that are noted by letter and never added. One query."""
    found = Taxon.objects.filter(count_class="D").order_by("scientific_name")
    return list(found.values_list("scientific_name", flat=True))


@dataclass(frozen=True, slots=True)
class Names:
    """The names of all taxa as they are printed, and the foot notes on those that changed."""

    by_taxon: dict[int, Name]
    notes: list[str]

    def of(self, taxon: Taxon) -> Name:
        return self.by_taxon.get(taxon.pk) or Name(taxon.scientific_name)


FEW = 100


def names_of(taxa: Iterable[Taxon], question: Question, saying: Saying) -> Names:
    """Accepted name, typed name if different, common name; a name that changed inside the period has one row
    and a foot note. Two queries."""
    wanted = {taxon.pk: taxon for taxon in taxa}
    typed: dict[int, set[str]] = defaultdict(set)
    # Of few taxa their own lots are asked; of most of the house all are, which is quicker than a long list.
    lots = Lot.objects.filter(taxon__in=wanted) if len(wanted) <= FEW else Lot.objects.all()
    for taxon_id, words in (
        lots.exclude(verbatim_identification="")
        .values_list("taxon_id", "verbatim_identification")
        .order_by()
        .distinct()
    ):
        if taxon_id in wanted and words.strip().lower() != wanted[taxon_id].scientific_name.lower():
            typed[taxon_id].add(words.strip())
    changed = _changed(wanted, question, saying)
    numbers = {taxon_id: number for number, taxon_id in enumerate(changed, start=1)}
    names = {
        pk: Name(
            accepted=taxon.scientific_name,
            authorship=taxon.authorship,
            typed=tuple(sorted(typed.get(pk, ()))),
            common=taxon.common_name,
            count_class=taxon.count_class,
            note=numbers.get(pk, 0),
            former=changed[pk].former if pk in changed else (),
        )
        for pk, taxon in wanted.items()
    }
    return Names(names, [f"Note {numbers[pk]}: {one.words}" for pk, one in changed.items()])


@dataclass(frozen=True, slots=True)
class _Renamed:
    """What is said of a taxon whose name changed inside the period, and the names that it had."""

    words: str
    former: tuple[str, ...]


def _changed(wanted: dict[int, Taxon], question: Question, saying: Saying) -> dict[int, _Renamed]:
    """What is said of every taxon whose name changed inside the period, by taxon in order of names."""
    since = start_of_day(question.first_day, saying.zone)
    before = end_of_day(question.last_day, saying.zone)
    history: dict[int, list[TaxonName]] = defaultdict(list)
    for row in TaxonName.objects.filter(since__lt=before).order_by("since", "id"):
        if row.taxon_id in wanted:
            history[row.taxon_id].append(row)
    said: dict[int, _Renamed] = {}
    for taxon_id in sorted(history, key=lambda pk: wanted[pk].scientific_name):
        rows = history[taxon_id]
        steps = [
            f"{old.scientific_name} became {new.scientific_name} on"
            f" {saying.day(new.since.astimezone(saying.zone).date())}"
            for old, new in pairwise(rows)
            if new.since >= since and old.scientific_name != new.scientific_name
        ]
        if steps:
            former = tuple(row.scientific_name for row in rows[:-1])
            said[taxon_id] = _Renamed("; ".join(steps) + ". One row holds both names.", former)
    return said
