"""The page that prints QR labels."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from inventory.doors import clock
from inventory.people.access import requires

from .files.label_sheets import NotPrintable, pdf_of, svgs_of, zip_of
from .forms_labels import LabelsForm
from .queries.labels import NotThere, labels_of, offered
from .rules.label_formats import BY_CODE, LabelFormat
from .rules.labels import Label, NoRoom
from .rules.qr import TooSmall

CANNOT = (NotThere, NotPrintable, NoRoom, TooSmall)


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def labels(request: HttpRequest) -> HttpResponse:
    """Ticks places and lots and gives their labels; what is chosen stays chosen while one searches on."""
    asked = request.POST if request.method == "POST" else request.GET
    places, lots = asked.getlist("place"), asked.getlist("lot")
    text = asked.get("text", "")
    prints = request.method == "POST" and "print" in request.POST
    form = LabelsForm(request.POST if prints else None)
    if prints and form.is_valid():
        said = form.cleaned_data
        try:
            chosen = labels_of(places=places, lots=lots, site=settings.ADDRESS)
            return _file(chosen, BY_CODE[said["sheet"]], start=said["start"], kind=said["kind"])
        except CANNOT as wrong:
            form.add_error(None, str(wrong))
    context = {
        "form": form,
        "text": text,
        "found": offered(text, places=places, lots=lots),
        "chosen_places": places,
        "chosen_lots": lots,
        "address": settings.ADDRESS,
    }
    return render(request, "tankside/labels.html", context)


def _file(chosen: list[Label], sheet: LabelFormat, *, start: int, kind: str) -> HttpResponse:
    if kind == "svg":
        content, media = zip_of(svgs_of(chosen, sheet)), "application/zip"
    else:
        content, media = pdf_of(chosen, sheet, start=start, made_at=clock.now()), "application/pdf"
    name = f"labels.{'zip' if kind == 'svg' else 'pdf'}"
    return HttpResponse(
        content, content_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
