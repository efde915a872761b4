"""The page on which a picture of a taxon or a lot is set, and the picture itself."""

from collections.abc import Collection
from functools import partial

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.book.models import Document, Lot
from inventory.book.queries.documents import read_document
from inventory.doors import clock
from inventory.names.models import Taxon
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions.pictures import PictureRefused, set_picture, take_picture_away
from .forms_pictures import PictureForm
from .queries.entry_pictures import one_picture
from .queries.pictures import file_of_picture, pictures_of
from .who import SETS_PICTURES_OF_LOTS, SETS_PICTURES_OF_TAXA


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=SETS_PICTURES_OF_TAXA)
def taxon_picture(request: HttpRequest, scientific_name: str) -> HttpResponse:
    """The pictures of a taxon."""
    found = get_object_or_404(Taxon, scientific_name=scientific_name)
    return _page(request, found, SETS_PICTURES_OF_TAXA)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=SETS_PICTURES_OF_LOTS)
def lot_picture(request: HttpRequest, accession: str) -> HttpResponse:
    """The pictures of one lot, where the house wants its own."""
    found = get_object_or_404(Lot.objects.select_related("taxon"), accession=accession)
    return _page(request, found, SETS_PICTURES_OF_LOTS)


@require_safe
@requires()
def picture(request: HttpRequest, sha256: str) -> HttpResponse:
    """The file: a JPEG that was drawn here, never what was uploaded, and no other paper of the house."""
    found = file_of_picture(sha256)
    if found is None:
        raise Http404("no picture has this name")
    response = _file(found)
    # Named by its content: at this address nothing else ever stands.
    patch_cache_control(response, private=True, max_age=86_400)
    return response


@require_safe
@requires()
def entry_picture(request: HttpRequest, pk: int) -> HttpResponse:
    """A photograph that came with an entry, for who may see the entry."""
    return _of_entry(request, pk)


@require_safe
@requires()
def entry_picture_small(request: HttpRequest, pk: int) -> HttpResponse:
    """The same, small."""
    return _of_entry(request, pk, small=True)


def _of_entry(request: HttpRequest, pk: int, *, small: bool = False) -> HttpResponse:
    found = one_picture(pk, hidden=blind.hidden_from(person_of(request.user)))
    if found is None:
        raise Http404("no picture of an entry has this number")
    response = _file(found.thumbnail if small else found.document)
    # Asked for each time: while somebody counts at the tank, its entries are hidden from them.
    patch_cache_control(response, private=True, no_cache=True)
    return response


def _file(document: Document) -> HttpResponse:
    try:
        content = read_document(document)
    except ValueError as error:
        raise Http404(str(error)) from error
    response = HttpResponse(content, content_type="image/jpeg")
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _page(request: HttpRequest, of: Taxon | Lot, sets: Collection[Role]) -> HttpResponse:
    form = PictureForm()
    if request.method == "POST":
        if "away" in request.POST:
            return _taken_away(request, of)
        form = PictureForm(request.POST, request.FILES)
        if form.is_valid():
            file, said = form.cleaned_data["file"], form.cleaned_data
            act = partial(set_picture, of=of, by=person_of(request.user), now=clock.now())
            try:
                act(name=file.name, content=file.read(), alt=said["alt"], credit=said["credit"])
            except PictureRefused as refused:
                form.add_error("file", str(refused))
            else:
                messages.success(request, "The picture is kept. Devices take it with their next lists.")
                return redirect(request.path)
    rows = list(pictures_of(of))
    context = {
        "taxon": of.taxon if isinstance(of, Lot) else of,
        "lot": of if isinstance(of, Lot) else None,
        "now": rows[0] if rows and rows[0].document else None,
        "rows": rows,
        "form": form if may(request, *sets) else None,
    }
    return render(request, "tankside/picture.html", context)


def _taken_away(request: HttpRequest, of: Taxon | Lot) -> HttpResponse:
    try:
        gone = take_picture_away(of=of, by=person_of(request.user), now=clock.now())
    except PictureRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "No picture is shown from now on." if gone else "There was no picture.")
    return redirect(request.path)
