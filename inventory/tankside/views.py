"""Pages of what came from the tanks and needs somebody: alarms, doubles, open names, questions."""

from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.book.actions.flags import settle_flag
from inventory.book.actions.post import LedgerRefused
from inventory.book.models import Event, Lot, Place
from inventory.book.queries import story
from inventory.doors import clock
from inventory.doors.chosen import number_of
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions import doubles as double_actions
from .actions.alarms import see_alarm
from .actions.bodies import BagInUse, state_body
from .actions.open_names import NotThisOne, settle_open_name
from .actions.questions import set_aside
from .forms import BodyForm, FindingForm
from .models import HELD, Alarm, Body
from .queries import bodies as body_queries
from .queries import doubles as double_queries
from .queries import open_items
from .queries import unlisted as unlisted_queries
from .queries.entry_pictures import of_entries, of_events
from .rules.stated import StatedBody
from .who import SEES_ALARMS

SETTLES_NAMES = (Role.REGISTRAR, Role.VETERINARIAN)
STATES_BODIES = (Role.REGISTRAR, Role.VETERINARIAN, Role.CURATOR)
ON_A_PAGE = 50


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def alarms(request: HttpRequest) -> HttpResponse:
    """Many deaths, or one of class A; curator or veterinarian say that they have seen it."""
    now = clock.now()
    if request.method == "POST":
        if not may(request, *SEES_ALARMS):
            raise PermissionDenied("The curator or the veterinarian says that an alarm was seen.")
        alarm = get_object_or_404(Alarm, pk=number_of(request, "alarm"))
        if see_alarm(alarm, by=person_of(request.user), now=now):
            messages.success(request, f"Seen: {alarm.words}.")
        else:
            messages.info(request, "Somebody has seen it before you; the first name stays.")
        return redirect("alarms")
    page = Paginator(open_items.alarms(now=now), ON_A_PAGE).get_page(request.GET.get("page"))
    hidden = blind.hidden_from(person_of(request.user))
    context = {
        "page": page,
        "photographs": of_events([alarm.event_id for alarm in page], hidden),
        "may_see": may(request, *SEES_ALARMS),
    }
    return render(request, "tankside/alarms.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(Role.REGISTRAR, Role.CURATOR, Role.INSPECTOR)
def doubles(request: HttpRequest) -> HttpResponse:
    """Pairs of events that look like one, side by side; the registrar says one or two."""
    if request.method == "POST":
        return _decide_double(request)
    hidden = blind.hidden_from(person_of(request.user))
    pairs = double_queries.open_pairs(now=clock.now(), hidden=hidden)
    page = Paginator(pairs, ON_A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "may_decide": may(request, Role.REGISTRAR)}
    return render(request, "tankside/doubles.html", context)


def _decide_double(request: HttpRequest) -> HttpResponse:
    if not may(request, Role.REGISTRAR):
        raise PermissionDenied("The registrar decides on doubles.")
    first, second = sorted(
        (get_object_or_404(Event, pk=number_of(request, name)) for name in ("first", "second")),
        key=lambda event: event.pk,
    )
    by, now = person_of(request.user), clock.now()
    try:
        if request.POST.get("answer") == "same":
            event = double_actions.same(
                first=first, second=second, by=by, now=now, zone=timezone.get_current_timezone()
            )
            messages.success(
                request, f"Event {second.pk} is taken back by event {event.pk}; event {first.pk} stands."
            )
        else:
            double_actions.two(first=first, second=second, by=by, now=now)
            messages.success(request, f"Events {first.pk} and {second.pk} both stand.")
    except (double_actions.NotYours, double_actions.DecidedAlready, LedgerRefused) as refused:
        messages.warning(request, str(refused))
    return redirect("doubles")


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def open_names(request: HttpRequest) -> HttpResponse:
    """Deaths whose species is open; registrar or veterinarian say which it was."""
    person = person_of(request.user)
    if request.method == "POST":
        if not may(request, *SETTLES_NAMES):
            raise PermissionDenied("The registrar or the veterinarian says which animal it was.")
        event = get_object_or_404(Event, pk=number_of(request, "event"))
        lot = get_object_or_404(Lot.objects.select_related("taxon"), accession=request.POST.get("lot", ""))
        try:
            settled = settle_open_name(
                event=event,
                lot=lot,
                identifier=_identifier(request),
                by=person,
                now=clock.now(),
                zone=timezone.get_current_timezone(),
            )
        except (NotThisOne, LedgerRefused) as refused:
            messages.warning(request, str(refused))
        else:
            messages.success(
                request,
                f"It was {lot.taxon.scientific_name} ({lot.accession}): event {settled.pk}. What was said "
                f"first stays in event {event.pk}.",
            )
        return redirect("open_names")
    rows = open_items.open_name_rows(hidden=blind.hidden_from(person))
    page = Paginator([(row, uuid4()) for row in rows], ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "photographs": of_events([row.flag.event_id for row, _ in page]),
        "may_settle": may(request, *SETTLES_NAMES),
    }
    return render(request, "tankside/open_names.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def came_back(request: HttpRequest) -> HttpResponse:
    """Entries that came back: one's own, or for the registrar all; set aside with a reason."""
    person, all_of_them = person_of(request.user), may(request, Role.REGISTRAR, Role.INSPECTOR)
    entries = open_items.came_back(None if all_of_them else person)
    if request.method == "POST":
        entry = get_object_or_404(entries, pk=number_of(request, "entry"))
        if not (may(request, Role.REGISTRAR) or entry.person_id == person.pk):
            raise PermissionDenied("Who wrote an entry, or the registrar, sets it aside.")
        why = " ".join(request.POST.get("why", "").split())[:200]
        if not why:
            messages.warning(request, "Say why nothing of it is to be entered; nothing was changed.")
        elif set_aside(entry, why=why, by=person, now=clock.now()):
            messages.success(request, "Set aside. It stays readable under “Sent from devices”.")
        return redirect("came_back")
    page = Paginator(entries, ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "tankside/came_back.html", {"page": page, "all_of_them": all_of_them})


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def questions(request: HttpRequest) -> HttpResponse:
    """What accepted entries left open: a clock, an author, a body, more than the book held."""
    hidden = blind.hidden_from(person_of(request.user))
    flags = open_items.questions().exclude(place__in=hidden)
    if request.method == "POST":
        if not may(request, Role.REGISTRAR):
            raise PermissionDenied("The registrar ticks off what was looked at.")
        if "entry" in request.POST:
            return _count_dead(request)
        flag = get_object_or_404(flags, pk=number_of(request, "flag"))
        settle_flag(flag, by=person_of(request.user), now=clock.now())
        messages.success(request, f"Event {flag.event_id} was looked at.")
        return redirect("tank_questions")
    page = Paginator(flags, ON_A_PAGE).get_page(request.GET.get("page"))
    told = story.tell([flag.event_id for flag in page])
    may_settle = may(request, Role.REGISTRAR)
    unlisted = unlisted_queries.unlisted().exclude(place__in=hidden)
    dead = open_items.dead_on_arrival().exclude(place__in=hidden)
    context = {
        "page": page,
        "rows": [(flag, told[flag.event_id]) for flag in page],
        "photographs": of_events(told, hidden),
        "unlisted": [(entry, FindingForm(auto_id=f"animal-{entry.pk}-%s")) for entry in unlisted],
        "names": unlisted_queries.names_offered() if may_settle and unlisted else [],
        "dead_on_arrival": dead,
        "of_entries": of_entries([entry.pk for entry in (*unlisted, *dead)]),
        "may_settle": may_settle,
        "may_state": may(request, *STATES_BODIES),
    }
    return render(request, "tankside/questions.html", context)


def _count_dead(request: HttpRequest) -> HttpResponse:
    entry = get_object_or_404(open_items.dead_on_arrival(), pk=number_of(request, "entry"))
    what = " ".join(request.POST.get("why", "").split())[:200]
    if not what:
        messages.warning(request, "Say what was done; nothing was changed.")
    elif set_aside(entry, why=what, by=person_of(request.user), now=clock.now()):
        messages.success(request, "Counted. What was written stays under “Sent from devices”.")
    return redirect("tank_questions")


@require_safe
@requires()
def bodies(request: HttpRequest) -> HttpResponse:
    """Where each body is, by bag; with ``all``, those thrown away or never found too."""
    hidden = blind.hidden_from(person_of(request.user))
    shown = body_queries.bodies(hidden=hidden)
    with_all = "all" in request.GET
    page = Paginator(shown if with_all else shown.filter(kept__in=HELD), ON_A_PAGE).get_page(
        request.GET.get("page")
    )
    told = story.tell([one.event_id for one in page])
    context = {
        "page": page,
        "rows": [(one, told[one.event_id]) for one in page],
        "photographs": of_events(told, hidden),
        "with_all": with_all,
        "may_state": may(request, *STATES_BODIES),
    }
    return render(request, "tankside/bodies.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=STATES_BODIES)
def body(request: HttpRequest, pk: int) -> HttpResponse:
    """What became of a body, and what is said of it later."""
    event = get_object_or_404(Event.objects.filter(kind__in=("died", "put_down")), pk=pk)
    may_state = may(request, *STATES_BODIES)
    if request.method == "POST" and not may_state:
        raise PermissionDenied("Registrar, veterinarian or curator say what became of a body.")
    stated = Body.objects.filter(event=event).select_related("stated_by").order_by("-id")
    last = stated.first()
    first_shown = {"kept": last.kept, "bag": last.bag, "part": last.part} if last else None
    form = BodyForm(request.POST or None, initial=first_shown)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            state_body(
                event=event,
                body=StatedBody(said["kept"], said["bag"], said["part"]),
                by=person_of(request.user),
                now=clock.now(),
            )
        except BagInUse as refused:
            form.add_error("bag", str(refused))
        else:
            messages.success(request, f"Kept with event {event.pk}.")
            return redirect("event", pk=event.pk)
    context = {
        "form": form if may_state else None,
        "event": event,
        "told": story.tell([event.pk])[event.pk],
        "bodies": stated,
        "photographs": of_events([event.pk], blind.hidden_from(person_of(request.user))).get(event.pk),
    }
    return render(request, "tankside/body.html", context)


@require_safe
@requires()
def sent(request: HttpRequest) -> HttpResponse:
    """What came from devices, notes among it: of a place, of a lot, or of the house."""
    place, lot = request.GET.get("place", ""), request.GET.get("lot", "")
    if place:
        get_object_or_404(Place, code=place)
    if lot:
        get_object_or_404(Lot, accession=lot)
    hidden = blind.hidden_from(person_of(request.user))
    entries = open_items.entries_of(place=place, lot=lot, hidden=hidden)
    page = Paginator(entries, ON_A_PAGE).get_page(request.GET.get("page"))
    keep = f"&{urlencode({'place': place, 'lot': lot})}"
    context = {
        "page": page,
        "photographs": of_entries([entry.pk for entry in page]),
        "place": place,
        "lot": lot,
        "keep": keep,
    }
    return render(request, "tankside/sent.html", context)


def _identifier(request: HttpRequest) -> UUID:
    try:
        return UUID(request.POST.get("identifier", ""))
    except ValueError:
        raise Http404("the form has no identifier") from None
