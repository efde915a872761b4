"""Figures of the population change with what the page of events is asked for each."""

from collections.abc import Iterable, Mapping
from operator import mul

from census.change.queries.report import Row, value_of
from census.change.rules.arithmetic import Change
from census.change.rules.figures import SUMS
from census.change.rules.question import By, Question
from census.change.rules.words import moment_in_address
from inventory.names.models import Taxon

from ..rules.document import Figure
from ..rules.said import Saying

SHORT_WORDS = {"in": "in", "out": "out", "regrouped": "regrouped (net)"}


def address_of(question: Question, zone_moment: str = "") -> dict[str, str]:
    """A question as the address of the page of events has it; ``zone_moment`` is known_at, local."""
    asked = {
        "first_day": question.first_day.isoformat(),
        "last_day": question.last_day.isoformat(),
        "by": question.by.value,
        "scope": question.scope.value,
        "basis": question.basis.value,
    }
    return {**asked, "known_at": zone_moment} if zone_moment else asked


def local_moment(question: Question, saying: Saying) -> str:
    """The moment of knowledge as an address has it, in the house's zone; empty: now."""
    known = question.known_at
    return moment_in_address(known, saying.zone) if known else ""


def selected(row: Row, by: By) -> dict[str, str]:
    """The row's part of the address."""
    asked = {"unit": row.unit, "taxon": str(row.taxon.pk)}
    return asked if by is By.TAXON else {**asked, "group": str(row.key.group)}


# What has nothing behind it, once for all: most figures of a long report are this one.
NOTHING = Figure(0)
# Figures that may be there though nothing flowed.
_WITHOUT_FLOWS = frozenset(("opening", "late", "closing", "missing"))


def amount(change: Change, figure: str) -> int:
    """A column of the change, or one of the sums of the short form."""
    signs = SUMS.get(figure)
    if signs is None:
        return int(value_of(change, figure))
    flows = change.flows
    return sum(map(mul, map(flows.__getitem__, signs), signs.values()))


def figure(change: Change, name: str, asked: Mapping[str, str]) -> Figure:
    """A number that opens its events; a zero has nothing behind it."""
    value = amount(change, name)
    return Figure(value, {**asked, "figure": name}) if value else NOTHING


def figures_of(change: Change, names: Iterable[str], asked: Mapping[str, str]) -> dict[str, Figure]:
    """The same as :func:`figure` of each name. In most rows of a long report nothing flowed."""
    flowed = any(change.flows.values())
    return {
        name: figure(change, name, asked) if flowed or name in _WITHOUT_FLOWS else NOTHING for name in names
    }


def mfu_figure(change: Change, end: str, asked: Mapping[str, str]) -> Figure:
    """m.f.u of the opening or the closing; hermaphrodites stand with the unknown, and apart on the click."""
    words = change.opening_mfu if end == "opening" else change.closing_mfu
    return Figure(words, {**asked, "figure": end} if amount(change, end) else None)


def classified(taxon: Taxon) -> tuple[str, str, str, str]:
    """The order of rows: phylum, class, family, name."""
    return (taxon.phylum, taxon.class_name, taxon.family, taxon.scientific_name)
