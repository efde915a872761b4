"""What is answered when a request broke: 503 with the trouble in words where it will pass, else 500.

Django calls it for whatever was raised, in a view, in the interface or in a middleware, while the error
is still being handled; see ``handler500`` in :mod:`inventory.site.urls`.
"""

import logging
import sys

from django.db import connections
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.views.defaults import server_error

from inventory.doors.troubles import Trouble, trouble_of

from . import metrics

log = logging.getLogger(__name__)
# Seconds after which it is worth a try; a device tries every minute anyhow.
_AGAIN_AFTER = "30"
_INTERFACE = "/api/"


def answer_failure(request: HttpRequest) -> HttpResponse:
    """The answer to a request that broke; reads nothing from the database."""
    trouble = trouble_of(sys.exc_info()[1])
    to_program = request.path.startswith(_INTERFACE)
    if trouble is None:
        if to_program:
            words = "The server could not do this. Send it again; the same entry sent twice is kept once."
            return JsonResponse({"detail": words, "reason": "fault"}, status=500)
        return server_error(request)
    log.error("database trouble: %s", trouble.kind)
    metrics.troubles.labels(trouble.kind.value).inc()
    _let_go()
    return _later(trouble, to_program=to_program)


def _let_go() -> None:
    """A connection that was opened while the file could only be read would stay so after that was mended."""
    for connection in connections.all(initialized_only=True):
        if not connection.in_atomic_block:
            connection.close()


def _later(trouble: Trouble, *, to_program: bool) -> HttpResponse:
    answer: HttpResponse
    if to_program:
        answer = JsonResponse({"detail": trouble.words, "reason": trouble.kind}, status=503)
    else:
        answer = HttpResponse(render_to_string("503.html", {"trouble": trouble}), status=503)
    answer["Retry-After"] = _AGAIN_AFTER
    answer["Cache-Control"] = "no-store"
    return answer
