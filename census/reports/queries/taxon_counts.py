"""What the censuses counted of one taxon, place by place: the numbers behind its charts, and the charts."""

from collections.abc import Iterator
from functools import partial

from census.rounds.models import Census
from census.rounds.queries.charts import MOST_CENSUSES, drift_series
from census.rounds.queries.settings import settings_in_use
from census.rounds.rules.charts import DriftPoint, drift_words
from census.rounds.rules.words import CensusState
from census.rounds.writers.charts import drift
from inventory.names.models import Taxon

from ..rules.document import Block, Chart, Column, Figure, Kind, Line, Part, Table
from ..rules.said import Saying

_COLUMNS = (
    Column("book", "book at the count", summed=False),
    Column("count", "count", summed=False),
    Column("least", "at least", summed=False),
    Column("most", "at most", summed=False),
    Column("difference", "count less book", Kind.SIGNED, summed=False),
    Column("method", "how", Kind.TEXT, summed=False),
)
_COMPARED = [
    state.value
    for state in (
        CensusState.COMPARING,
        CensusState.SETTLING,
        CensusState.WAITING,
        CensusState.CLOSED,
        CensusState.REOPENED,
    )
]
MOST_CHARTS = 6


def counts_of(taxon: Taxon, saying: Saying, numbers: Iterator[int]) -> tuple[list[Part], list[Chart]]:
    """The part and its charts; none where it was never counted. Queries grow with the censuses alone."""
    newest = Census.objects.filter(state__in=_COMPARED).select_related("period").order_by("-cutoff", "-pk")
    censuses = list(reversed(newest[:MOST_CENSUSES]))
    settings = settings_in_use()
    series = drift_series(taxon, censuses, settings)
    if not series:
        return [], []
    lines = [
        Line(next(numbers), None, f"{place}, {point.census}", partial(_figures, point))
        for place, points in series.items()
        for point in points
    ]
    table = Table(taxon.unit, lines, {column.key: Figure(None) for column in _COLUMNS}, "")
    words = "Counts of different days are not added up. A count is compared with the book at its own moment."
    block = Block("Counts", [], [table])
    part = Part("counts", "Counts", "place and census", _COLUMNS, [block], words=words)
    run = settings.drift_run_length
    charts = [
        Chart(
            f"{taxon.scientific_name} in {place}",
            drift(f"course-{n}", f"{taxon.scientific_name} in {place}", points, run),
            drift_words(points, run),
        )
        for n, (place, points) in enumerate(series.items(), start=1)
        if len(points) > 1
    ]
    return [part], charts[:MOST_CHARTS]


def _figures(point: DriftPoint) -> dict[str, Figure]:
    return {
        "book": Figure(point.book),
        "count": Figure(point.value),
        "least": Figure(point.value if point.low is None else point.low),
        "most": Figure(None if point.at_least else point.value if point.high is None else point.high),
        "difference": Figure(point.difference),
        "method": Figure("at least" if point.at_least else point.method),
    }
