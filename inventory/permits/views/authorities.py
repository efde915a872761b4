"""What an authority asks for: when its returns are due, and in which form."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import person_of, requires

from ..actions.return_templates import save_template, set_return_rule
from ..forms.returns import RuleForm, TemplateForm, rule_initial, template_initial
from ..models import Authority, ReturnRule, ReturnTemplate
from ..queries.returns import due_rules, newest_version, templates_of
from ..rules.due import DueKind
from ..rules.statements import KNOWN, PLAIN_FORM, Chosen, TemplateRefused
from ..who import KEEPS


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def authority(request: HttpRequest, pk: int) -> HttpResponse:
    """When an authority wants its returns, with the history, and its forms."""
    found = get_object_or_404(Authority, pk=pk)
    history = list(ReturnRule.objects.select_related("entered_by").filter(authority=found).order_by("-id"))
    form = RuleForm(request.POST or None, initial=rule_initial(history[0] if history else None, found))
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        set_return_rule(
            authority=found,
            kind=DueKind(said["kind"]),
            days=said["days"] or 0,
            month_day=said["month_day"],
            source=said["source"],
            by=person_of(request.user),
            now=clock.now(),
        )
        messages.success(request, "The rule holds from now on; those before it stay readable.")
        return redirect("authority", pk=pk)
    context = {
        "authority": found,
        "rule": due_rules([pk]).get(pk),
        "history": [(row, due_words(row)) for row in history],
        "form": form,
        "templates": [(one, newest_version(one)) for one in templates_of(pk)],
        "permits": found.permits.order_by("number"),
    }
    return render(request, "permits/authority.html", context)


def due_words(row: ReturnRule) -> str:
    """A rule in words."""
    if row.kind == DueKind.EACH_YEAR:
        return f"each year by {row.month_day} of the next"
    return f"{row.days} days after expiry"


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def template(request: HttpRequest, pk: int, number: int = 0) -> HttpResponse:
    """Chooses, orders and renames the columns of a form; what it said before stays."""
    found = get_object_or_404(Authority, pk=pk)
    one = get_object_or_404(ReturnTemplate, pk=number, authority=found) if number else None
    history = list(one.versions.select_related("entered_by").order_by("-number")) if one else []
    newest = history[0] if history else None
    columns = [Chosen(*column) for column in newest.columns] if newest else PLAIN_FORM
    initial = template_initial(one.name if one else "", columns, newest.coarse_degrees if newest else None)
    form = TemplateForm(request.POST or None, initial=initial)
    if one is not None:
        form.fields["name"].disabled = True
    if request.method == "POST" and form.is_valid():
        try:
            version = save_template(
                authority=found, by=person_of(request.user), now=clock.now(), **form.cleaned_data
            )
        except TemplateRefused as refused:
            for problem in refused.problems:
                form.add_error("columns", problem)
        else:
            messages.success(
                request, f"{version.template.name} says so from now on (version {version.number})."
            )
            return redirect("template", pk=pk, number=version.template_id)
    context = {"authority": found, "template": one, "form": form, "known": KNOWN, "history": history}
    return render(request, "permits/template.html", context)
