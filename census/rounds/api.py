"""Routes of the programming interface for counting on a device: thin doors over the census's actions."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest
from ninja import Router

from inventory.doors import clock
from inventory.doors.interface import Refused
from inventory.doors.storable import storable
from inventory.people.actions.devices import seen
from inventory.people.models import Device, DeviceScope, Person
from inventory.people.queries.devices import code_changes, read_pass
from inventory.tankside.api import TOKEN
from inventory.tankside.schemas import ANSWERS, EntriesOut, Unreadable

from . import schemas
from .actions.device_counts import Counted, CountedLine, ReceivedCount, take_device_counts
from .queries.device_sheets import sheets_for

router = Router(tags=["census"])


@router.post(
    "/count-sheets",
    auth=TOKEN,
    response={200: schemas.CountSheetsOut, **ANSWERS},
    summary="The sheets that a person has to count",
)
def count_sheets(request: HttpRequest, body: schemas.WhoIn) -> Any:
    """The sheets that are issued to a person who has given their code on this device, and to nobody else.

    Blank boxes only: neither the book nor any count is in the answer, not even the person's own.
    """
    device = _device(request)
    now = clock.now()
    stated = read_pass(body.signed)
    changed = code_changes([body.person]).get(body.person)
    if stated is None or not stated.holds(
        person=body.person, device=device.pk, moment=now, code_changed_at=changed
    ):
        raise Refused(403, "Give your code again: the sheets are shown to their counter only.", "code")
    seen(device, now=now)
    return sheets_for(Person.objects.get(pk=body.person))


@router.post(
    "/counts",
    auth=TOKEN,
    response={200: EntriesOut, **ANSWERS},
    summary="Send counts",
)
def counts(request: HttpRequest, body: schemas.CountEntriesIn) -> Any:
    """Takes 1 to 200 entries, each by itself and in order; one that cannot be taken comes back alone.

    Send the same entries again until there is an answer: each identifier is one count, with one answer.
    """
    device, now = _device(request), clock.now()
    received = [received_from(one) for one in body.entries]
    seen(device, now=now)
    answers = take_device_counts(received, device=device, sent_at=body.sent_at, now=now)
    return {"server_time": now, "answers": answers}


def _device(request: HttpRequest) -> Device:
    device = request.auth  # type: ignore[attr-defined]
    assert isinstance(device, Device)
    if device.scope != DeviceScope.TANKSIDE:
        raise Refused(403, f"{device.name} is a sensor: it may send readings and nothing else.", "scope")
    return device


def received_from(one: schemas.CountEntryIn | Unreadable) -> ReceivedCount:
    """An entry as the census's actions take it."""
    if isinstance(one, Unreadable):
        return _unreadable(one)
    return ReceivedCount(
        one.identifier,
        schemas.body_of(one),
        counted=Counted(
            person=one.person,
            signed=one.signed or "",
            saved_at=one.saved_at,
            sheet=one.sheet,
            round=one.round,
            hand_in=one.hand_in,
            lines=(*(_line(line) for line in one.lines), *(_line(line) for line in one.written_in)),
            replaces=one.replaces,
        ),
    )


def _line(line: schemas.LineIn | schemas.WriteInIn) -> CountedLine:
    sexes = line.sexes
    return CountedLine(
        counted_at=line.counted_at,
        line=line.line if isinstance(line, schemas.LineIn) else 0,
        name=line.name if isinstance(line, schemas.WriteInIn) else "",
        unit=line.unit if isinstance(line, schemas.WriteInIn) else "animal",
        value=line.value,
        at_least=line.at_least,
        passes=tuple(line.passes),
        letter=line.letter,
        sexes=(sexes.males, sexes.females, sexes.hermaphrodites, sexes.unknown) if sexes else None,
        seen=line.seen if isinstance(line, schemas.LineIn) else {},
        remark=line.remark,
    )


def _unreadable(one: Unreadable) -> ReceivedCount:
    raw = one.raw if isinstance(one.raw, dict) else {"entry": one.raw}
    try:
        identifier = UUID(str(raw.get("identifier", "")))
    except ValueError:
        message = "An entry has no identifier: it can be neither taken nor answered."
        raise Refused(422, message, "unreadable") from None
    # Kept as it came, for somebody to read.
    body = storable({k: v for k, v in raw.items() if k != "pass"})
    return ReceivedCount(identifier, body, troubles=tuple(one.problems))
