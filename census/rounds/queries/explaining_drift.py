"""Lines of class C that lie on one side of the book in census after census."""

from collections import defaultdict
from collections.abc import Sequence

from django.db.models import Q

from ..models import Census, Line
from ..rules.runs import Earlier, drifts
from ..rules.settings import CensusSettings
from ..rules.states import SHEETS_REPLACED
from ..rules.words import CensusState
from .reading import Row, read_rows

MANY = "C"
Kind = tuple[int, int | None, str]


def drift_words(census: Census, rows: Sequence[Row], settings: CensusSettings) -> dict[int, str]:
    """What to say of every line that drifts, by the line's id.

    As many queries as the run is long, whatever the number of lines; one when none is inside its error.
    """
    drifting = [row for row in rows if _may_drift(row)]
    if not drifting:
        return {}
    runs: dict[Kind, list[Earlier]] = defaultdict(list)
    for row in drifting:
        runs[_kind(row)].append(_as_earlier(census.code, row))
    for before in _censuses_before(census, settings.drift_run_length - 1):
        for row in _same_lines(before, drifting):
            if row.latest is not None and _kind(row) in runs:
                runs[_kind(row)].append(_as_earlier(before.code, row))
    books = {row.line.pk: row.latest.book for row in drifting if row.latest}
    found = {}
    for row in drifting:
        run = runs[_kind(row)][: settings.drift_run_length]
        side = drifts(run, settings)
        if side:
            told = ", ".join(f"{one.census} {one.difference:+d}" for one in reversed(run))
            way = "above" if side > 0 else "below"
            share = 100 * abs(run[0].difference or 0) / max(books[row.line.pk], 1)
            found[row.line.pk] = (
                f"{way} the book in {len(run)} censuses running ({told}), now by {share:.1f} per cent: "
                "an error of the estimate does not lie on one side"
            )
    return found


def _may_drift(row: Row) -> bool:
    latest = row.latest
    return row.line.count_class == MANY and latest is not None and latest.inside and bool(latest.difference)


def _kind(row: Row) -> Kind:
    return (row.line.place_id, row.line.taxon_id, row.line.unit)


def _as_earlier(code: str, row: Row) -> Earlier:
    return Earlier(code, row.latest.difference if row.latest else None)


def _censuses_before(census: Census, n: int) -> list[Census]:
    """The last ones that were not abandoned, newest first."""
    before = Census.objects.filter(cutoff__lt=census.cutoff).exclude(state=CensusState.ABANDONED.value)
    return list(before.select_related("period", "version").order_by("-cutoff")[:n])


def _same_lines(census: Census, rows: Sequence[Row]) -> list[Row]:
    same = Q()
    for place, taxon, unit in {_kind(row) for row in rows}:
        same |= Q(place=place, taxon=taxon, unit=unit)
    lines = Line.objects.filter(same).exclude(sheet__state__in=[state.value for state in SHEETS_REPLACED])
    return read_rows(census, lines)
