"""Charts of a census with the tables behind them, for those who may see the book beside the counts."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from inventory.names.models import Taxon
from inventory.names.rules.italics import Italics
from inventory.people.access import requires

from ..models import Line
from ..queries import charts as figures
from ..queries.reading import read_census
from ..queries.settings import settings_in_use
from ..rules.charts import accuracy_words, drift_words, funnel_words, loss_words, month_words
from ..rules.words import MEASURED_CLASSES
from ..writers import charts as drawn
from . import COMPARES
from .blindfold import not_while_counting
from .board import found_census


@require_safe
@requires(*COMPARES)
@not_while_counting
def census_charts(request: HttpRequest, code: str) -> HttpResponse:
    """Differences with what is tolerated, accuracy over the censuses, unexplained losses by place."""
    census, settings = found_census(code), settings_in_use()
    read = [(one, read_census(one, settings=settings)) for one in figures.censuses_until(census)]
    rows = next((rows for one, rows in read if one.pk == census.pk), None)
    rows = read_census(census, settings=settings) if rows is None else rows
    points = figures.funnel_points(rows)
    accuracy, losses = figures.accuracy_points(read, settings), figures.loss_bars(rows)
    months = figures.loss_months(census, timezone.get_current_timezone())
    by_class = {name: [p for p in points if p.count_class == name] for name in MEASURED_CLASSES}
    context = {
        "census": census,
        "points": sorted(points, key=lambda point: (point.inside, -abs(point.difference), point.line)),
        "funnels": [
            (name, funnel_words(chosen), _svg(drawn.funnel(name, chosen, settings)))
            for name, chosen in by_class.items()
            if chosen
        ],
        "italics": Italics(point.name for point in points),
        "accuracy": accuracy,
        "accuracy_words": accuracy_words(accuracy),
        "accuracy_svg": _svg(drawn.accuracy(accuracy)),
        "losses": losses,
        "loss_words": loss_words(losses),
        "months": months,
        "month_words": month_words(months),
        "months_svg": _svg(drawn.months(months)),
        "losses_svg": _svg(drawn.losses(losses)),
        "many": sorted({row.name for row in rows if row.line.count_class == "C" and row.line.taxon}),
    }
    return render(request, "rounds/charts.html", context)


@require_safe
@requires(*COMPARES)
@not_while_counting
def census_drift(request: HttpRequest, code: str, scientific_name: str) -> HttpResponse:
    """One taxon through the censuses, place by place: counts with their range, and the book."""
    census, settings = found_census(code), settings_in_use()
    taxon = get_object_or_404(Taxon, scientific_name=scientific_name)
    get_object_or_404(Line.objects.filter(taxon=taxon)[:1])
    series = figures.drift_series(taxon, figures.censuses_until(census), settings)
    run = settings.drift_run_length
    places = [
        (
            place,
            points,
            drift_words(points, run),
            _svg(drawn.drift(f"drift-{n}", f"{taxon.scientific_name} in {place}", points, run)),
        )
        for n, (place, points) in enumerate(series.items(), start=1)
    ]
    context = {"census": census, "taxon": taxon, "places": places, "run": run}
    return render(request, "rounds/drift.html", context)


def _svg(drawing: str) -> str:
    """Made by :mod:`inventory.doors.svg`, which escapes whatever is written into it."""
    return mark_safe(drawing)
