"""Animals on no list: what the registrar found them to be, and which of it the permit officer has seen."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.book import blind
from inventory.book.rules.found_as import FOLLOWS_AS, FoundAs
from inventory.book.who import RECORDS
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from .actions.unlisted import FindingRefused, say_what_it_was, see_finding
from .forms import FindingForm
from .models import Entry
from .queries import unlisted as queries
from .queries.entry_pictures import of_entries
from .rules.unlisted import CAUTION
from .who import SEES_INTRODUCED, SETTLES_UNLISTED

ON_A_PAGE = 50


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=SEES_INTRODUCED)
def on_no_list(request: HttpRequest) -> HttpResponse:
    """What was found out; the permit officer says that an introduced species was seen."""
    person = person_of(request.user)
    hidden = blind.hidden_from(person)
    if request.method == "POST":
        asked = request.POST.get("finding", "")
        waiting = queries.findings(hidden=hidden).filter(for_permit_officer=True)
        finding = get_object_or_404(waiting, pk=int(asked) if asked.isdecimal() else 0)
        if see_finding(finding, by=person, now=clock.now()):
            messages.success(request, f"Seen: {finding}.")
        else:
            messages.info(request, "Somebody has seen it before you; the first name stays.")
        return redirect("on_no_list")
    page = Paginator(queries.findings(hidden=hidden), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "caution": CAUTION,
        "of_entries": of_entries([one.entry_id for one in page]),
        "may_see": may(request, *SEES_INTRODUCED),
        "may_settle": may(request, *SETTLES_UNLISTED),
    }
    return render(request, "tankside/on_no_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=SETTLES_UNLISTED)
def what_it_was(request: HttpRequest, pk: int) -> HttpResponse:
    """One animal as it was written in, what was said of it, and where the book learns of it."""
    person = person_of(request.user)
    entries = queries.written_in().exclude(place__in=blind.hidden_from(person))
    entry = get_object_or_404(entries.select_related("person", "device", "place", "undone_by"), pk=pk)
    form = FindingForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            finding = say_what_it_was(
                entry=entry,
                said=form.said(),
                instead_of=form.cleaned_data["instead_of"],
                by=person,
                now=clock.now(),
            )
        except FindingRefused as refused:
            form.add_error(None, str(refused))
        else:
            told = " The permit officer finds it on the page Today." if finding.for_permit_officer else ""
            messages.success(request, f"Kept: {finding}. The book has not changed.{told}")
            follows = finding.what in FOLLOWS_AS
            return redirect("what_it_was", pk=pk) if follows else redirect("tank_questions")
    return render(request, "tankside/what_it_was.html", _about(request, entry, form))


def _about(request: HttpRequest, entry: Entry, form: FindingForm) -> dict[str, object]:
    findings = list(queries.findings_of(entry))
    last = findings[-1] if findings else None
    # What is sent next stands for the answer that this page shows, also after a refusal.
    form.initial["instead_of"] = last.pk if last else None
    if form.is_bound:
        form.data = request.POST.dict() | {"instead_of": str(last.pk) if last else ""}
    may_settle = may(request, *SETTLES_UNLISTED) and (last is not None or not hasattr(entry, "undone_by"))
    return {
        "entry": entry,
        "findings": findings,
        "last": last,
        "introduced": any(one.what is FoundAs.INTRODUCED for one in findings),
        "caution": CAUTION,
        "photographs": of_entries([entry.pk]).get(entry.pk),
        "follows": FOLLOWS_AS.get(last.what) if last and may(request, *RECORDS) else None,
        "marked": queries.marked(entry.body.get("letter", "")),
        "lots": queries.lots_that_may_follow(last) if last else [],
        "form": form if may_settle else None,
        "names": queries.names_offered() if may_settle else [],
    }
