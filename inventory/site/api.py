"""The programming interface, version 1: each room brings its own routes; described by OpenAPI.

A room joins with a module ``api`` that holds a ``router``, by its name in ``ROUTERS``. Who may ask
is each route's own business: a device by its token, a person by the sign-in. A change that would
break a caller is a new version beside this one.
"""

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.utils.module_loading import import_string
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError

from inventory.doors.interface import Refused

# (path below /api/v1/, the router's name)
ROUTERS: tuple[tuple[str, str], ...] = (
    ("", "inventory.tankside.api.router"),
    ("", "census.rounds.api.router"),
    ("reports", "census.reports.api.router"),
)

api = NinjaAPI(
    title="Tidetally",
    version="1",
    description="Entries from the tank side, what a device needs to make them, and reports to read.",
    docs_url=None,  # the page that comes with the library loads scripts from an outside address
    urls_namespace="api-v1",
)
for _path, _name in ROUTERS:
    api.add_router(_path, import_string(_name))


def _say(request: HttpRequest, status: int, detail: str, reason: str) -> HttpResponse:
    return api.create_response(request, {"detail": detail, "reason": reason}, status=status)


@api.exception_handler(Refused)
def _refused(request: HttpRequest, refused: Refused) -> HttpResponse:
    return _say(request, refused.status, refused.detail, refused.reason)


@api.exception_handler(ValidationError)
def _unreadable(request: HttpRequest, error: ValidationError) -> HttpResponse:
    """What was wrong and where, without what was sent: a code or a token may be in it."""
    found = [f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in error.errors]
    return _say(request, 422, "; ".join(found), "unreadable")


@api.exception_handler(HttpError)
def _http(request: HttpRequest, error: HttpError) -> HttpResponse:
    """A body that is no JSON at all is as unreadable as one that lacks fields."""
    status = 422 if error.status_code == 400 else error.status_code
    reason = {401: "unknown", 422: "unreadable"}.get(status, "refused")
    return _say(request, status, str(error), reason)


@api.exception_handler(RequestDataTooBig)
def _too_big(request: HttpRequest, error: RequestDataTooBig) -> HttpResponse:
    return _say(request, 413, "More than is taken at once: send fewer entries together.", "unreadable")
