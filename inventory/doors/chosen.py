"""What a button of a form names: the row that it is about."""

from django.http import Http404, HttpRequest


def number_of(request: HttpRequest, name: str) -> int:
    """The number of a row. A form that names none, or no number, is about nothing that there is."""
    try:
        return int(request.POST.get(name, ""))
    except ValueError:
        raise Http404(f"no {name} was named") from None
