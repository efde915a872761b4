"""Tests of the counting: lines drawn by lot, the sample before signing, second typing, quiet moves."""

import secrets

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.book import blind
from inventory.book.models import Event
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from ..actions.beside import retype, say_of_quiet_move, state_no_second
from ..actions.drawing import draw_recounts, draw_sample, record_sample
from ..actions.refused import CensusRefused
from ..actions.to_come import sample_to_come
from ..forms import NoSecondForm, RecountForm
from ..models import Census, Count, Draw, DrawnLine, Line, Sheet
from ..queries.draws import SampleRead, drawn_for_recount, draws_of, read_sample, waiting_for_recount
from ..queries.quiet import disturbed
from ..queries.reading import read_census
from ..queries.settings import settings_of
from ..queries.to_come import crossed
from ..queries.typing import to_retype
from ..rules.settings import CensusSettings
from ..rules.words import Drawn, SecondName
from . import COUNTS, DECIDES, SAMPLES
from .board import found_census


@require_http_methods(["GET", "POST"])
@requires(*SAMPLES)
def checks(request: HttpRequest, code: str) -> HttpResponse:
    """What was drawn and what was found. POST draws, or writes down a result."""
    census = found_census(code)
    if request.method == "POST":
        try:
            messages.success(request, _step(request, census))
        except CensusRefused as refused:
            messages.error(request, f"Nothing was done. {refused}")
        return redirect("census_checks", code)
    rows = read_census(census)
    decides = may(request, *DECIDES)
    inspects = may(request, Role.INSPECTOR) and not decides
    draws = draws_of(census, Drawn.INSPECTION if inspects else Drawn.SAMPLE)
    samples = [read_sample(draw) for draw in draws.order_by("-drawn_at", "-id")]
    context = {
        "census": census,
        "decides": decides,
        "sample_moves": _moves(samples, settings_of(census)),
        "counting": bool(blind.hidden_from(person_of(request.user))),
        "inspects": inspects,
        "samples": samples,
        "recount_draw": draws_of(census, Drawn.RECOUNT).first(),
        "to_recount": waiting_for_recount(rows, drawn_for_recount(census)),
        "recount_form": RecountForm(),
        "moves": disturbed(census, settings_of(census), now=clock.now()),
        "one_counter": [row for row in rows if row.one_counter_only],
        "no_seconds": census.no_second_names.select_related("line__sheet", "stated_by"),
        "no_second_form": NoSecondForm(),
    }
    return render(request, "rounds/checks.html", context)


@require_http_methods(["GET", "POST"])
@requires(*COUNTS)
def typing(request: HttpRequest, code: str) -> HttpResponse:
    """Lines whose paper is typed a second time, without what was typed first; not one's own typing."""
    census, person = found_census(code), person_of(request.user)
    if request.method == "POST":
        done, wrong = 0, []
        for name, text in request.POST.items():
            if not name.startswith("count_") or not str(text).strip():
                continue
            count = get_object_or_404(Count, pk=name.removeprefix("count_"), line__sheet__census=census)
            try:
                retype(count=count, text=str(text), by=person, now=clock.now())
                done += 1
            except CensusRefused as refused:
                wrong += list(refused.problems)
        if done:
            messages.success(request, f"{done} typed a second time.")
        for problem in wrong:
            messages.error(request, problem)
        return redirect("census_typing", code)
    waiting = [
        one for one in to_retype(census) if person.pk not in (one.count.typed_by_id, one.count.counter_id)
    ]
    return render(request, "rounds/typing.html", {"census": census, "waiting": waiting})


def _moves(samples: list[SampleRead], settings: CensusSettings) -> list[tuple[DrawnLine, list[Event]]]:
    """What crossed the glass in the quiet time before something of a sample was counted."""
    lines = [line for sample in samples for line in sample.lines if hasattr(line, "result")]
    found = crossed([(line.place_id, line.result.counted_at) for line in lines], settings)
    return [(one, events) for one in lines if (events := found.get((one.place_id, one.result.counted_at)))]


def _step(request: HttpRequest, census: Census) -> str:
    """Does what the button says; gives the words for the page."""
    person, now, post = person_of(request.user), clock.now(), request.POST
    step = post.get("step", "")
    if step == "draw_recounts":
        draw = draw_recounts(census=census, by=person, now=now, seed=secrets.token_hex(8))
        return f"Drawn with the seed {draw.seed}: ask another person for each line."
    if step in ("draw_sample", "draw_inspection"):
        inspection = step == "draw_inspection"
        draw = draw_sample(
            census=census, by=person, now=now, seed=secrets.token_hex(8), inspection=inspection
        )
        return f"Drawn with the seed {draw.seed}."
    if step == "to_come":
        draw = get_object_or_404(Draw, pk=post.get("draw") or 0, census=census)
        sample_to_come(draw=draw, by=person, now=now)
        return "The numbers of the places drawn are hidden from you until everything there has its result."
    if step == "result":
        drawn = get_object_or_404(DrawnLine, pk=post.get("drawn") or 0, draw__census=census)
        result = record_sample(
            drawn_line=drawn,
            found=post.get("found", ""),
            on_list=post.get("on_list") == "yes",
            by=person,
            now=now,
            note=post.get("note", ""),
        )
        return f"Number {drawn.number}: {'right' if result.right else 'wrong'}."
    if step == "quiet":
        sheet = get_object_or_404(Sheet, pk=post.get("sheet") or 0, census=census)
        event = get_object_or_404(Event, pk=post.get("event") or 0)
        both = post.get("both") == "yes"
        say_of_quiet_move(sheet=sheet, event=event, on_both_sheets=both, by=person, now=now)
        return f"Event {event.pk}: {'on both sheets' if both else 'not on both sheets'}."
    if step == "no_second":
        line = get_object_or_404(Line, pk=post.get("line") or 0, sheet__census=census)
        state_no_second(
            census=census,
            task=SecondName.COUNTER,
            why=post.get("why", ""),
            by=person,
            now=now,
            line=line,
        )
        return f"{line}: stated on what is signed."
    raise CensusRefused("Choose what to do.")
