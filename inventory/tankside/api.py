"""Routes of the programming interface for devices and sensors: thin doors over the tank side's actions."""

import json
from typing import Annotated, Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from ninja import Path, Router, Status
from ninja.responses import NinjaJSONEncoder
from ninja.security import HttpBearer

from inventory.book.queries.documents import read_document
from inventory.book.rules.drafts import Numbers
from inventory.doors import clock
from inventory.doors.interface import Refused
from inventory.doors.storable import storable
from inventory.people.actions import codes, devices, limits
from inventory.people.models import Device, DeviceScope, Person
from inventory.people.queries.devices import NoDevice, device_of
from inventory.people.rules.limits import CODES, ENROLMENTS, REQUESTS, WRONG_TOKENS

from . import schemas
from .actions import entry_pictures
from .actions.take import Received, take_entries
from .queries.pictures import file_of_picture
from .queries.tank_side import etag_of, tank_side
from .rules.kinds import EntryKind
from .rules.stated import Stated, StatedBody, StatedReading, Trouble

router = Router(tags=["tank side"])

# A text with a pattern, so that another text is answered by the interface (422) and not as no page at all.
Identifier = Annotated[str, Path(pattern=r"^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$")]


class Token(HttpBearer):
    """The device's token, in the header Authorization: Bearer. Answers 401 with the reason."""

    openapi_description = "The token of a device, as it was shown when the device was enrolled."
    scopes: tuple[DeviceScope, ...] = (DeviceScope.TANKSIDE, DeviceScope.READINGS)

    def authenticate(self, request: HttpRequest, token: str) -> Device:
        now = clock.now()
        try:
            device = device_of(token)
        except NoDevice as wrong:
            _not_too_often(limits.count(WRONG_TOKENS, request.META["REMOTE_ADDR"], now=now))
            raise Refused(401, str(wrong), "revoked" if wrong.revoked else "unknown") from None
        _not_too_often(limits.count_here(REQUESTS, device.pk, now=now))
        if device.scope not in self.scopes:
            words = f"{device.name} is not let in for this: its token is for {device.get_scope_display()}."
            raise Refused(403, words, "scope")
        return device


TOKEN = Token()


@router.post(
    "/devices/enrol",
    auth=None,
    response={200: schemas.EnrolledOut, **dict.fromkeys((403, 422, 429), schemas.TroubleOut)},
    summary="Enrol this device",
)
def enrol(request: HttpRequest, body: schemas.EnrolIn) -> Any:
    """Lets a device in that gives the one-time code of the registrar's page within a quarter of an hour."""
    now = clock.now()
    _not_too_often(limits.count(ENROLMENTS, request.META["REMOTE_ADDR"], now=now))
    try:
        enrolled = devices.enrol(code=body.code, now=now)
    except devices.NotEnrolled as refused:
        return Status(403, {"detail": str(refused), "reason": "code"})
    device = enrolled.device
    return {"device": {"id": device.pk, "name": device.name}, "token": enrolled.token}


@router.post(
    "/persons/check",
    auth=TOKEN,
    response={
        200: schemas.ConfirmedOut,
        **schemas.ANSWERS,
        403: schemas.WrongCodeOut | schemas.TroubleOut,
    },
    by_alias=True,
    summary="Confirm who holds the device",
)
def check_person(request: HttpRequest, body: schemas.CheckIn) -> Any:
    """Gives the pass that goes with a person's entries. Five wrong codes lock for a quarter of an hour."""
    device = _tank_side_device(request)
    _not_too_often(limits.count(CODES, device.pk, now=clock.now()))
    person = Person.objects.filter(pk=body.person).first()
    try:
        confirmed = codes.check_code(person=person, code=body.code, device=device, now=clock.now())
    except codes.WrongCode as wrong:
        return Status(
            403,
            {"detail": str(wrong), "tries_left": wrong.tries_left, "locked_until": wrong.locked_until},
        )
    who = confirmed.person
    return {
        "pass": confirmed.signed,
        "person": {"id": who.pk, "name": who.name, "initials": who.initials},
    }


@router.get(
    "/tank-side",
    auth=TOKEN,
    response={200: dict[str, Any], 304: None, **schemas.ANSWERS},
    summary="Lists for entries without signal",
)
def lists(request: HttpRequest) -> HttpResponse:
    """Persons, places, what the book has where, open names, causes and stages, in one answer.

    It holds no numbers of the stock, so that a count stays blind; of permits it tells what is left, save
    where somebody counts those animals now. Send its ETag back as If-None-Match and get 304 while nothing
    has changed.
    """
    device = _tank_side_device(request)
    now = clock.now()
    devices.seen(device, now=now)
    made = tank_side(now=now)
    etag = etag_of(made)
    if request.headers.get("If-None-Match") == etag:
        answer = HttpResponse(status=304)
    else:
        answer = HttpResponse(json.dumps(made, cls=NinjaJSONEncoder), content_type="application/json")
    answer["ETag"] = etag
    answer["Cache-Control"] = "no-cache"
    return answer


@router.get(
    "/pictures/{sha256}",
    auth=TOKEN,
    response={200: None, **schemas.ANSWERS, 404: schemas.TroubleOut},
    openapi_extra={"responses": {200: {"content": {"image/jpeg": {}}}}},
    summary="A small picture of an animal",
)
def picture(request: HttpRequest, sha256: Annotated[str, Path(pattern="^[0-9a-f]{64}$")]) -> Any:
    """At most 160 px wide and high and 100 KiB; its address, which the lists tell, never holds another."""
    _tank_side_device(request)
    found = file_of_picture(sha256, thumbnails_only=True)
    if found is None:
        return Status(404, {"detail": "No picture has this name: ask for the lists again.", "reason": "none"})
    try:
        content = read_document(found)
    except ValueError as error:
        return Status(404, {"detail": str(error), "reason": "none"})
    return HttpResponse(content, content_type=found.media_type)


@router.post(
    "/entries",
    auth=TOKEN,
    response={200: schemas.EntriesOut, **schemas.ANSWERS},
    summary="Send entries",
)
def entries(request: HttpRequest, body: schemas.EntriesIn) -> Any:
    """Takes 1 to 200 entries, each by itself and in order; one that cannot be taken comes back alone.

    Send the same entries again until there is an answer: each identifier is one event, with one answer.
    """
    now = clock.now()
    answers = take_entries(
        [_received(one) for one in body.entries],
        device=_device(request),
        sent_at=body.sent_at,
        now=now,
        zone=timezone.get_current_timezone(),
    )
    return {"server_time": now, "answers": answers}


@router.post(
    "/entries/{entry}/pictures/{identifier}",
    auth=TOKEN,
    response={
        200: schemas.PictureAnswerOut,
        **schemas.ANSWERS,
        404: schemas.TroubleOut,
        413: schemas.TroubleOut,
    },
    openapi_extra={
        "requestBody": {
            "required": True,
            "description": f"The file itself: JPEG, PNG or WebP, at most {entry_pictures.LARGEST_MB} MB.",
            "content": {
                kind: {"schema": {"type": "string", "format": "binary"}}
                for kind in ("image/jpeg", "image/png", "image/webp")
            },
        }
    },
    summary="Send a picture of an entry",
)
def entry_picture(request: HttpRequest, entry: Identifier, identifier: Identifier) -> Any:
    """Keeps a photograph with an entry that was taken; at most three with one entry, 200 of a device a day.

    What is kept is drawn anew, without position or camera. The identifier is the device's: send the same
    again until there is an answer, and it is one picture. 404: the entry is not taken yet, send that first.
    429: the picture waits, as after no answer at all. One that cannot be opened comes back, and the entry
    stands.
    """
    device = _tank_side_device(request)
    _not_too_large(request)
    try:
        taken = entry_pictures.take_entry_picture(
            entry=UUID(entry),
            identifier=UUID(identifier),
            content=request.body,
            device=device,
            now=clock.now(),
        )
    except entry_pictures.NoEntry as error:
        return Status(404, {"detail": str(error), "reason": "none"})
    except entry_pictures.TooMany as error:
        return Status(429, {"detail": str(error), "reason": "too many"})
    except entry_pictures.PictureComesBack as back:
        return {"identifier": UUID(identifier), "outcome": "came back", "already": False, "words": str(back)}
    return {
        "identifier": identifier,
        "outcome": "sent",
        "already": taken.already,
        "words": "The picture is kept.",
    }


def _not_too_large(request: HttpRequest) -> None:
    """Before any of it is read."""
    stated = request.META.get("CONTENT_LENGTH") or "0"
    if not stated.isdecimal() or int(stated) > entry_pictures.LARGEST:
        words = f"The picture is larger than {entry_pictures.LARGEST_MB} MB: make it smaller."
        raise Refused(413, words, "unreadable")


def _not_too_often(seconds: int) -> None:
    if seconds:
        raise Refused(429, f"Too many requests: try again in {seconds} seconds.", "too many")


def _device(request: HttpRequest) -> Device:
    device = request.auth  # type: ignore[attr-defined]
    assert isinstance(device, Device)
    return device


def _tank_side_device(request: HttpRequest) -> Device:
    """The device that asks; a sensor's token opens nothing that concerns people."""
    device = _device(request)
    if device.scope != DeviceScope.TANKSIDE:
        raise Refused(403, f"{device.name} is a sensor: it may send readings and nothing else.", "scope")
    return device


def _received(one: schemas.EntryIn | schemas.Unreadable) -> Received:
    if isinstance(one, schemas.Unreadable):
        return _unreadable(one)
    body = one.model_dump(mode="json", exclude={"signed"}, exclude_defaults=True)
    return Received(one.identifier, one.kind.value, body, stated=_stated(one))


def _unreadable(one: schemas.Unreadable) -> Received:
    raw = one.raw if isinstance(one.raw, dict) else {"entry": one.raw}
    try:
        identifier = UUID(str(raw.get("identifier", "")))
    except ValueError:
        message = "An entry has no identifier: it can be neither taken nor answered."
        raise Refused(422, message, "unreadable") from None
    kind = str(raw.get("kind", ""))
    # Kept as it came, for somebody to read.
    body = storable({k: v for k, v in raw.items() if k != "pass"})
    return Received(
        identifier,
        kind if kind in set(EntryKind) else "",
        body,
        troubles=tuple(Trouble(field, words) for field, words in one.problems),
    )


def _stated(one: schemas.EntryIn) -> Stated:
    said = one.model_dump(
        exclude={"numbers", "body", "reading", "person", "undoes", "replaces", "slip"}, exclude_none=True
    )
    return Stated(
        **said,
        person=one.person,
        numbers=Numbers(**one.numbers.model_dump()) if one.numbers else Numbers(),
        body=StatedBody(one.body.kept, one.body.bag or "", one.body.part) if one.body else None,
        reading=(
            StatedReading(one.reading.quantity, str(one.reading.value), one.reading.unit)
            if one.reading
            else None
        ),
        slip=one.slip.stated() if one.slip else None,
        undoes=one.undoes,
        replaces=one.replaces,
    )
