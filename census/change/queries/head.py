"""What stands over a report: whose, of what, as known when, and what is left out."""

from dataclasses import dataclass
from datetime import tzinfo

from inventory.book.models import Period
from inventory.names.models import BackboneRelease, Taxon
from inventory.people.queries import the_house

from ..rules.words import SCOPE_WORDS, basis_in_words, moment_in_words, title_of
from .closings import Knowledge
from .report import Report


@dataclass(frozen=True, slots=True)
class Head:
    """Lines of (heading, text), and the taxa that are noted as present and never counted."""

    title: str
    basis: str
    scope: str
    lines: list[tuple[str, str]]
    presence_only: list[Taxon]


LEFT_OUT = (
    "rows with nothing at the start, nothing in between and nothing at the end; animals that are"
    " only noted as present (named below the table, never added)"
)


def report_head(report: Report, *, zone: tzinfo) -> Head:
    """Three queries."""
    question = report.question
    house = the_house()
    release = BackboneRelease.objects.filter(is_current=True).first()
    basis = basis_in_words(question, (report.opening.name, report.closing.name), zone)
    lines = [
        ("house", house.name if house else ""),
        ("licence", house.licence_number if house else ""),
        ("period", f"{question.first_day} to {question.last_day}, both days inside"),
        ("time zone", str(zone)),
        ("basis", basis),
        ("opening signed", _signed(report.opening, zone)),
        ("closing signed", _signed(report.closing, zone)),
        ("scope", SCOPE_WORDS[question.scope]),
        *report.scopes,
        ("units", ", ".join(report.totals) or "none"),
        ("names", _names(report, release)),
        ("left out", LEFT_OUT),
        ("estimates", "none is added up here: every figure is the sum of whole animals in the book"),
    ]
    return Head(
        title=title_of(question),
        basis=basis,
        scope=SCOPE_WORDS[question.scope],
        lines=[(heading, text) for heading, text in lines if text],
        presence_only=list(Taxon.objects.filter(count_class="D").order_by("scientific_name")),
    )


def _names(report: Report, release: BackboneRelease | None) -> str:
    if report.names is not None:
        return report.names.words
    return f"accepted names of {release}" if release else "as the house writes them"


def _signed(known: Knowledge, zone: tzinfo) -> str:
    if known.version is None:
        return ""
    version = known.version
    return f"{version}, by {version.signed_by}, {moment_in_words(version.closed_at, zone)}"


def newest_periods(number: int = 6) -> list[Period]:
    """The newest periods of the house, for quick questions."""
    return list(Period.objects.order_by("-ends_on", "starts_on")[:number])
