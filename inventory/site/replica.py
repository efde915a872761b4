"""Reports from a copy of the database that PostgreSQL keeps up to date by itself, where a house has one.

While such a page is made, ``default`` *is* the copy in this thread, raw SQL included: a report that read its
head here and its rows there could tell of no moment at all. Who is signed in is read before, from the
original. The copy is opened for reading only. Where it does not answer, the original does.
"""

import logging
from collections.abc import Callable
from typing import Any

from django.db import Error, connections
from django.http import HttpRequest, HttpResponse, HttpResponseBase

log = logging.getLogger(__name__)
ALIAS = "replica"
# Names of routes that read much and write nothing.
READERS = frozenset(
    {
        "change", "change_events", "change_workbook", "change_csv",
        "report", "report_workbook", "report_csv", "report_pdf",
    }
)  # fmt: skip


class ReportsFromReplica:
    """A middleware, innermost; idle unless ``DATABASE_REPLICA_URL`` is set."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponseBase], args: Any, kwargs: Any
    ) -> HttpResponseBase | None:
        match = request.resolver_match
        if ALIAS not in connections.settings or match is None or match.url_name not in READERS:
            return None
        if request.method not in ("GET", "HEAD") or not request.user.is_authenticated:
            return None
        copy = connections[ALIAS]
        try:
            copy.ensure_connection()
        except Error:
            log.warning("the copy for reports does not answer; the database itself does")
            return None
        original = connections["default"]
        connections["default"] = copy
        try:
            return view(request, *args, **kwargs)
        finally:
            connections["default"] = original
