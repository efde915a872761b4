"""Numbers each request, times it, counts it, and writes one line about it; outermost of the middleware."""

import logging
import time
from collections.abc import Callable
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from . import metrics
from .logs import request_number

log = logging.getLogger(__name__)
_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


def observe(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """A middleware. What the request was about stays out: route and status say enough to find a fault."""

    def observed(request: HttpRequest) -> HttpResponse:
        number = uuid4().hex[:16]
        before = request_number.set(number)
        started = time.perf_counter()
        try:
            response = get_response(request)
            seconds = time.perf_counter() - started
            response["X-Request-ID"] = number
            _told(request, response.status_code, seconds)
        finally:
            request_number.reset(before)
        return response

    return observed


def _told(request: HttpRequest, status: int, seconds: float) -> None:
    route = _route(request)
    # A method is whatever the other end wrote; a label must not be.
    method = request.method if request.method in _METHODS else "OTHER"
    metrics.answered.labels(route, method, str(status)).inc()
    metrics.took.labels(route).observe(seconds)
    if route != "static":
        about = {"route": route, "method": method, "status": status, "ms": round(seconds * 1_000)}
        log.info("answered", extra=about)


def _route(request: HttpRequest) -> str:
    """The name of the address's pattern: "lot", never "lot/A-2020-17"."""
    match = request.resolver_match
    if match is None:
        return "static" if request.path.startswith(settings.STATIC_URL) else "none"
    return match.view_name or str(match.route) or "none"
