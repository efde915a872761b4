"""Pages that write: record an event of a lot, and take an event back."""

from collections.abc import Sequence
from datetime import datetime

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.doors.chosen import number_of
from inventory.people.access import may, person_of, requires
from inventory.people.models import Person

from . import blind, filled_in
from .actions.flags import settle_flag
from .actions.post import LedgerRefused, Posted
from .actions.record import record_event
from .actions.refusing import keep_refused
from .forms import RecordForm, TakeBackForm
from .late import reached
from .models import Event, Flag, Lot, LotKind
from .models.flags import FlagKind
from .models.refused import Door
from .queries import lists, story
from .rules.corrections import is_own_slip
from .rules.recording import offered
from .who import APPROVES, CORRECTS, PAPERS, RECORDS, TAKES_BACK

FLAGS_ON_A_PAGE = 50


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*RECORDS, *PAPERS)
def record(request: HttpRequest, kind: str, accession: str) -> HttpResponse:
    """Records one event of one lot."""
    lot = get_object_or_404(Lot.objects.select_related("taxon"), accession=accession)
    individual = lot.kind == LotKind.INDIVIDUAL
    recording = next((r for r in offered(individual=individual) if r.kind.value == kind), None)
    if recording is None:
        raise Http404(f"{kind} is not recorded here")
    if not may(request, *(PAPERS if recording.papers else RECORDS)):
        raise PermissionDenied(
            "What crosses the house's wall with papers is recorded by the registrar "
            "or the permit officer; what happens at the tank by those who work there."
        )
    now = clock.now()
    person = person_of(request.user)
    hidden = blind.hidden_from(person)
    here = lists.lives_here(lots=[lot.pk], hidden=hidden)
    # The address stays that of the form as it was offered, also when it is sent.
    values = filled_in.values(request.GET.dict(), hidden=hidden)
    form = RecordForm(
        request.POST or None, recording=recording, lot=lot, here=here, now=now, filled_in=values
    )
    if request.method == "POST" and form.is_valid():
        try:
            posted, said = record_event(
                form.draft(entered_by=person.name),
                now=now,
                zone=timezone.get_current_timezone(),
            )
        except LedgerRefused as refused:
            form.add_problems(refused.problems)
        else:
            _say(request, posted, said)
            return redirect("lot", accession=lot.accession)
    if form.is_bound:
        what = f"{recording.words}, {lot.accession}"
        _keep_refused(request, form, what=what, about=[("lot", lot.accession)])
    context = {"form": form, "lot": lot, "recording": recording, "filled_in": bool(values)}
    return render(request, "book/record.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*TAKES_BACK)
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Reverses one event, whole; both stay readable."""
    event = get_object_or_404(Event.objects.select_related("entered_by"), pk=pk)
    person, now = person_of(request.user), clock.now()
    own_slip = is_own_slip(
        by=person.name, entered_by=event.entered_by.name, entered_at=event.entered_at, now=now
    )
    if not own_slip and not may(request, *CORRECTS):
        raise PermissionDenied(
            "You can take back what you entered yourself within the last ten minutes. "
            "After that the registrar or the curator does it: tell them the event's number."
        )
    form = TakeBackForm(request.POST or None, approvers=_approvers(person, now), own_slip=own_slip)
    if request.method == "POST" and form.is_valid():
        draft = form.draft(takes_back=event.identifier, entered_by=person.name, now=now)
        try:
            posted, said = record_event(draft, now=now, zone=timezone.get_current_timezone())
        except LedgerRefused as refused:
            form.add_problems(refused.problems)
        else:
            _say(request, posted, said)
            return redirect("event", pk=event.pk)
    if form.is_bound:
        ends = ("from_cell__lot__accession", "to_cell__lot__accession")
        lots = {lot for pair in event.flows.values_list(*ends) for lot in pair}
        what = f"take back event {event.pk}"
        _keep_refused(request, form, what=what, about=[("lot", lot) for lot in sorted(lots)])
    context = {
        "form": form,
        "event": event,
        "told": story.tell([event.pk], hidden=blind.hidden_from(person))[event.pk],
    }
    return render(request, "book/take_back.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def late_entries(request: HttpRequest) -> HttpResponse:
    """Events dated in a closed period; the registrar or the curator ticks off what was looked at."""
    may_settle = may(request, *CORRECTS)
    if request.method == "POST":
        if not may_settle:
            raise PermissionDenied("Only the registrar or the curator ticks off late entries.")
        flag = get_object_or_404(lists.late_entries(), pk=number_of(request, "flag"))
        settle_flag(flag, by=person_of(request.user), now=clock.now())
        messages.success(request, f"Event {flag.event_id} was looked at.")
        return redirect("late_entries")
    page = Paginator(lists.late_entries(), FLAGS_ON_A_PAGE).get_page(request.GET.get("page"))
    told = story.tell([flag.event_id for flag in page], hidden=blind.hidden_from(person_of(request.user)))
    limits = reached(timezone.get_current_timezone()) if told else {}
    rows = [(flag, told[flag.event_id], limits.get(flag.event_id, ())) for flag in page]
    context = {"page": page, "rows": rows, "may_settle": may_settle}
    return render(request, "book/late_entries.html", context)


def _keep_refused(request: HttpRequest, form: Form, *, what: str, about: list[tuple[str, str]]) -> None:
    """What was sent and not taken, by the form or by the ledger, stays in the history."""
    said = {name: request.POST[name] for name in form.fields if request.POST.get(name)}
    places = [("place", said.get(name, "")) for name in ("place", "to_place")]
    keep_refused(
        door=Door.PAGE,
        what=what,
        said=said,
        why=[f"{_called(form, name)}{words}" for name, found in form.errors.items() for words in found],
        about=[*about, *places, ("permit", said.get("permit_number", ""))],
        by=person_of(request.user),
        now=clock.now(),
    )


def _called(form: Form, name: str) -> str:
    """A field as the page calls it, before what is wrong with it; nothing where the whole is wrong."""
    return f"{form.fields[name].label or name.replace('_', ' ')}: " if name in form.fields else ""


def _approvers(person: Person, now: datetime) -> list[str]:
    """People of the house who may approve what ``person`` corrects: never the same one."""
    people = Person.objects.filter(user__groups__name__in=[role.value for role in APPROVES])
    today = timezone.localdate(now)
    return [
        other.name
        for other in people.exclude(pk=person.pk).distinct().order_by("name")
        if other.left_on is None or other.left_on > today
    ]


def _say(request: HttpRequest, posted: Posted, said: Sequence[str]) -> None:
    if posted.already:
        messages.info(request, f"This was sent before; it stands once, as event {posted.event_id}.")
    else:
        messages.success(request, f"Recorded as event {posted.event_id}.")
    for words in said:
        messages.warning(request, words)
    if Flag.objects.filter(event=posted.event_id, kind=FlagKind.LATE_ENTRY).exists():
        messages.warning(
            request,
            "It happened in a period that is closed: the report that was signed stays as it is, "
            "and the open period carries this as late.",
        )
