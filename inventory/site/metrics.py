"""Figures for a monitor, in the open text format of Prometheus (version 0.0.4).

Counted by each process of `serve` in a file of its own in memory, and added up for whoever asks; see
:mod:`inventory.site.gathering`. Labels are names of routes and
words of ours: no address, no person, no animal.
"""

import hmac
import ipaddress
import os
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest, multiprocess
from prometheus_client.registry import REGISTRY

from inventory.book.models import Event

from . import health
from .backup.kept import last_backup
from .gathering import FOLDER

# The bounds of the 200 ms that a page is allowed and of what a device waits for.
_BOUNDS = (0.025, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 20.0)

answered = Counter("tidetally_requests", "Requests answered", ("route", "method", "status"))
took = Histogram("tidetally_request_seconds", "Seconds until the answer", ("route",), buckets=_BOUNDS)
troubles = Counter("tidetally_troubles", "Requests not served: disk or database", ("kind",))


def told(*, now: datetime) -> bytes:
    """All figures as text: what the processes counted, and how the house stands now."""
    registry = CollectorRegistry()
    if os.environ.get(FOLDER):
        multiprocess.MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    else:
        registry = REGISTRY
    return generate_latest(registry) + generate_latest(_house(now))


def _house(now: datetime) -> CollectorRegistry:
    registry = CollectorRegistry()

    def say(name: str, words: str, value: float) -> None:
        Gauge(name, words, registry=registry).set(value)

    last = Event.objects.order_by("-id").values_list("id", flat=True).first()
    say("tidetally_ledger_events", "Events in the book", last or 0)
    say("tidetally_wrong", "Lines of /health that are wrong", len(health.what_is_wrong(now=now)))
    say("tidetally_disk_free_bytes", "Room left where the data is", health.room_left())
    backup = last_backup(Path(settings.BACKUP_FOLDER))
    if backup:
        age = (now - backup.made_at).total_seconds()
        say("tidetally_backup_age_seconds", "Since the newest backup", age)
    return registry


def may_read(request: HttpRequest) -> bool:
    """With the token where one is set; without one from this machine only.

    Behind a proxy ``serve --behind`` puts the true address in; an address that a proxy wrote without
    being believed does not count, and then nobody behind a proxy may read.
    """
    token = settings.METRICS_TOKEN
    if token:
        given = request.headers.get("Authorization", "").removeprefix("Bearer ")
        return hmac.compare_digest(given.encode(), token.encode())
    if request.headers.get("X-Forwarded-For") or request.headers.get("Forwarded"):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False
