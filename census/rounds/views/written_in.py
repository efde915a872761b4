"""What was written in: the registrar's finding, and pictures."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from inventory.book.rules.found_as import FoundAs
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.beside import add_picture
from ..actions.refused import CensusRefused
from ..actions.written_in import Found, ask_write_in, find_write_in
from ..forms.written_in import PictureForm, WrittenInForm
from ..models import ApprovalAsked, Line, NoticePost
from ..queries.find import NotFound, find_line, line_called
from ..queries.waiting import waiting_about
from ..rules.words import LineKind
from . import COMPARES, COUNTS, DECIDES


@require_http_methods(["GET", "POST"])
@requires(*COMPARES, writes=DECIDES)
def written_in(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """The animal as it was written, its pictures, the findings so far, and the form for the next."""
    found = _line(number, line)
    decides = may(request, *DECIDES)
    form = WrittenInForm(request.POST or None)
    if request.method == "POST" and not decides:
        raise PermissionDenied("The registrar says what was written in; you may read it.")
    if request.method == "POST" and form.is_valid():
        try:
            told = _find(request, found, form)
        except (CensusRefused, NotFound) as refused:
            form.add_error(None, str(refused).splitlines())
        else:
            messages.success(request, f"{found}: {told}.")
            return redirect("written_in", number, line)
    counts = found.counts.filter(replaced_by=None).select_related("counter").order_by("round")
    context = {
        "line": found,
        "counts": counts,
        "findings": found.findings.select_related("taxon", "other_line__sheet", "lot", "event", "found_by"),
        "post": NoticePost.objects.filter(notice__line=found).last(),
        "waits": waiting_about(found),
        "pictures": found.pictures.select_related("document", "added_by"),
        "form": form if decides else None,
        "picture_form": PictureForm(),
    }
    return render(request, "rounds/written_in.html", context)


@require_POST
@requires(*COUNTS)
def picture(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """Keeps a picture with the line."""
    found, form = _line(number, line, kinds=tuple(LineKind)), PictureForm(request.POST, request.FILES)
    back = "written_in" if found.kind == LineKind.WRITE_IN and may(request, *COMPARES) else "sheet"
    if form.is_valid():
        file: UploadedFile = form.cleaned_data["picture"]
        try:
            add_picture(
                line=found,
                name=file.name or "picture",
                content=file.read(),
                by=person_of(request.user),
                now=clock.now(),
            )
        except CensusRefused as refused:
            messages.error(request, str(refused))
        else:
            messages.success(request, f"{found}: the picture is kept.")
    else:
        messages.error(request, "Choose a picture first.")
    return redirect(back, number, line) if back == "written_in" else redirect(back, number)


def _find(request: HttpRequest, line: Line, form: WrittenInForm) -> str:
    """Decides, or asks for the names that are needed; gives the words for the page."""
    cleaned = form.cleaned_data
    other = cleaned["other_line"]
    found = Found(
        found_as=FoundAs(cleaned["found_as"]),
        taxon=cleaned["taxon"],
        other_line=find_line(line.sheet.census, other) if other else None,
        accession=cleaned["accession"].strip(),
        happened=cleaned["happened"].strip(),
        note=cleaned["note"],
    )
    by, now, zone = person_of(request.user), clock.now(), timezone.get_current_timezone()
    if cleaned["ask"]:
        done = ask_write_in(line=line, found=found, by=by, now=now, zone=zone)
        if isinstance(done, ApprovalAsked):
            return "it waits for approval"
    else:
        find_write_in(line=line, found=found, by=by, now=now, zone=zone, approved_by=cleaned["approved_by"])
    return found.found_as.words


def _line(number: str, line: int, *, kinds: tuple[LineKind, ...] = (LineKind.WRITE_IN,)) -> Line:
    try:
        found = line_called(f"{number} line {line}")
    except NotFound as error:
        raise Http404(str(error)) from error
    if found.kind not in kinds:
        raise Http404(f"{found} stands on the list; it was not written in.")
    return found
