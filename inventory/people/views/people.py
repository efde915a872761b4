"""Who may what: roles, inspectors for some days, locks and lost second factors."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.doors import clock

from ..access import may, person_of, requires
from ..actions.second_factor import reset_factors
from ..actions.sign_in import end_sessions, unlock_sign_in
from ..actions.terms import GRANTS, TermRefused, end_term, grant_term
from ..forms import TermForm
from ..models import Person, RoleTerm
from ..queries.people import everybody
from ..rules.roles import Role

SEES = (*GRANTS, Role.CURATOR, Role.INSPECTOR)


@require_safe
@requires(*SEES)
def people(request: HttpRequest) -> HttpResponse:
    """Everybody with a sign-in: roles, second factor, locks; and inspectors by their days."""
    return _page(request, TermForm())


@require_POST
@requires(*GRANTS)
def term_grant(request: HttpRequest) -> HttpResponse:
    """Makes somebody an inspector from one day to another."""
    form = TermForm(request.POST)
    if form.is_valid():
        try:
            term = grant_term(
                person=form.cleaned_data["person"],
                role=Role.INSPECTOR,
                starts_on=form.cleaned_data["starts_on"],
                ends_on=form.cleaned_data["ends_on"],
                reason=form.cleaned_data["reason"],
                by=person_of(request.user),
                now=clock.now(),
            )
        except TermRefused as refused:
            form.add_error(None, str(refused))
        else:
            days = f"from {term.starts_on} to {term.ends_on}"
            messages.success(request, f"{term.person.name} inspects {days}.")
            return redirect("people")
    return _page(request, form)


@require_POST
@requires(*GRANTS)
def term_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Ends an inspection before its last day."""
    term = get_object_or_404(RoleTerm, pk=pk)
    try:
        end_term(term, by=person_of(request.user), now=clock.now())
    except TermRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{term.person.name} inspects no more.")
    return redirect("people")


@require_POST
@requires(Role.ADMINISTRATOR)
def sign_in_unlock(request: HttpRequest, pk: int) -> HttpResponse:
    """Forgets wrong passwords of somebody who is locked out."""
    person = get_object_or_404(Person, pk=pk, user__isnull=False)
    assert person.user is not None
    unlock_sign_in(person.user)
    messages.success(request, f"{person.name} may try to sign in again.")
    return redirect("people")


@require_POST
@requires(Role.ADMINISTRATOR)
def second_factor_reset(request: HttpRequest, pk: int) -> HttpResponse:
    """Takes the second factors away from somebody who has lost theirs, and ends their sessions."""
    person = get_object_or_404(Person, pk=pk, user__isnull=False)
    assert person.user is not None
    if person == person_of(request.user):
        raise PermissionDenied("Another administrator does this for you; a recovery code helps you now.")
    reset_factors(person.user)
    end_sessions(person, now=clock.now())
    messages.success(request, f"{person.name} signs in with the password, and sets up a new second factor.")
    return redirect("people")


@require_POST
@requires(Role.ADMINISTRATOR)
def sessions_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Signs somebody out everywhere."""
    person = get_object_or_404(Person, pk=pk)
    end_sessions(person, now=clock.now())
    messages.success(request, f"{person.name} is signed out everywhere.")
    return redirect("people")


def _page(request: HttpRequest, form: TermForm) -> HttpResponse:
    now = clock.now()
    today = timezone.localdate(now)
    context = {
        # A lock runs on the machine's clock, not on a demonstration's.
        "rows": everybody(today=today, locked_since=now - clock.shift()),
        "terms": RoleTerm.objects.select_related("person", "granted_by", "ended_by"),
        "form": form,
        "today": today,
        "grants": may(request, *GRANTS),
        "administers": may(request, Role.ADMINISTRATOR),
    }
    return render(request, "people/people.html", context)
