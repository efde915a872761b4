"""The pages about the machine: what monitors ask, and what its administrator looks at."""

from pathlib import Path

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST

from inventory.book.models import Event
from inventory.book.queries.heads import head_of_chain
from inventory.doors import clock
from inventory.people.access import requires
from inventory.people.models import House
from inventory.people.rules.roles import Role

from . import health as house_health
from . import metrics as figures
from .backup.kept import backups_in
from .head_paper import Head, write_head

_SHOWN = 30


@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """200 "ok", or 503 with one line for each thing that is wrong; for monitors, without sign-in."""
    return _lines(house_health.what_is_wrong(now=clock.now()), "ok")


@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """200 "ready", or 503 and why no entry would be kept now; for a proxy, without sign-in."""
    return _lines(house_health.not_ready(), "ready")


def _lines(wrong: list[str], good: str) -> HttpResponse:
    text = "\n".join(wrong or [good]) + "\n"
    answer = HttpResponse(text, status=503 if wrong else 200, content_type="text/plain; charset=utf-8")
    answer["Cache-Control"] = "no-store"
    return answer


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Figures for a monitor on this machine, or with the token."""
    if not figures.may_read(request):
        raise PermissionDenied("The figures of this machine are told to its own monitor only.")
    return HttpResponse(figures.told(now=clock.now()), content_type=CONTENT_TYPE_LATEST)


@require_safe
@requires(Role.ADMINISTRATOR, Role.REGISTRAR)
def machine(request: HttpRequest) -> HttpResponse:
    """What is wrong, the backups that lie here, and the head of the chain to print and sign."""
    now, folder = clock.now(), Path(settings.BACKUP_FOLDER)
    backups = backups_in(folder)
    context = {
        "now": now,
        "wrong": list(dict.fromkeys(house_health.what_is_wrong(now=now) + house_health.not_ready())),
        "backups": backups[:_SHOWN],
        "backups_in_all": len(backups),
        "folder": folder,
        "encrypted": bool(settings.BACKUP_KEY),
        "room": house_health.room_left(),
        "head": _head(),
    }
    return render(request, "site/machine.html", context)


@require_safe
@requires(Role.ADMINISTRATOR, Role.REGISTRAR)
def head_paper(request: HttpRequest) -> HttpResponse:
    """The head of the chain as a paper to sign and to keep elsewhere."""
    head = _head()
    answer = HttpResponse(write_head(head), content_type="application/pdf")
    name = f"head-of-the-chain-{head.number}.pdf"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _head() -> Head:
    house = House.objects.values_list("name", flat=True).first()
    last = Event.objects.order_by("-id").values_list("recorded_at", flat=True).first()
    return Head(
        house=house or "The house",
        head=head_of_chain(),
        moment=timezone.localtime(clock.now()),
        entered_last=timezone.localtime(last) if last else None,
    )
