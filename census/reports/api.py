"""Routes of the programming interface for reports, read only: thin doors over the functions of the pages.

Who asks is a person by the sign-in, or a program by a token of the scope "reports"; both see what the pages
show. While a person counts, no figure is answered to them; while anybody counts, none to a program, for who
reads its screen is not known.
"""

from collections.abc import Sequence
from datetime import tzinfo
from typing import Any, TypeVar
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone
from ninja import Query, Router
from ninja.security import APIKeyCookie

from census.change.forms import FigureForm, QuestionForm
from census.change.queries.behind import behind, lines_of
from census.change.queries.remembered import remembered_report
from census.change.rules.columns import NUMBER_COLUMNS
from census.change.rules.question import Question
from census.change.rules.words import moment_in_address
from inventory.book import blind
from inventory.book.queries.heads import head_of_chain
from inventory.book.queries.quantities import stock as stock_of
from inventory.book.rules.happened import end_of_day
from inventory.doors import clock
from inventory.doors.interface import Refused
from inventory.people.actions.devices import seen
from inventory.people.models import Device, DeviceScope, Person
from inventory.people.queries import NotAPersonError, has_left, person_of
from inventory.permits.models import Permit
from inventory.permits.queries.accounts import accounts
from inventory.tankside.api import Token
from inventory.tankside.schemas import ANSWERS

from . import schemas

router = Router(tags=["reports"])

Thing = TypeVar("Thing")


class ReportsToken(Token):
    """A program's token, in the header Authorization: Bearer. Of another scope it opens nothing here."""

    openapi_description = "The token of a program that reads reports, as the registrar's page showed it once."
    scopes = (DeviceScope.REPORTS,)


class SignedIn(APIKeyCookie):
    """A person by the session of the site."""

    param_name = settings.SESSION_COOKIE_NAME
    openapi_description = "The session of a person who is signed in."

    def authenticate(self, request: HttpRequest, key: str | None) -> Person | None:
        if not request.user.is_authenticated:
            return None
        try:
            person = person_of(request.user)
        except NotAPersonError:
            raise Refused(403, "This sign-in belongs to nobody in the list of people.", "nobody") from None
        if has_left(person, today=timezone.localdate(clock.now())):
            raise Refused(403, f"{person.name} left the house; this sign-in is closed.", "left")
        return person


READS = [ReportsToken(), SignedIn()]


@router.get("/change", auth=READS, response={200: schemas.ChangeOut, **ANSWERS}, summary="Population change")
def change(request: HttpRequest, asked: Query[schemas.QuestionIn]) -> Any:
    """By taxon, place (exhibit), lot, source or owner, of any days, as reported or as known at a moment."""
    _not_while_counting(request)
    question = _question(asked)
    report = remembered_report(question, zone=_zone())
    return {
        **_page(request, asked, len(report.rows)),
        "first_day": question.first_day,
        "last_day": question.last_day,
        "basis": question.basis.value,
        "ties": not report.untied,
        "totals": {
            unit: {column: _number(total, column) for column in NUMBER_COLUMNS}
            for unit, total in report.totals.items()
        },
        "rows": [
            {
                "taxon": row.taxon.pk,
                "name": row.taxon.scientific_name,
                "group": "" if row.key.group is None else str(row.key.group),
                "label": row.label,
                "unit": row.unit,
                "figures": {column: row.value(column) for column in NUMBER_COLUMNS},
                "opening_mfu": row.value("opening_mfu"),
                "closing_mfu": row.value("closing_mfu"),
                "died_within_30_days_most": row.young_most,
                "ties": row.ties,
            }
            for row in _part(report.rows, asked)
        ],
    }


@router.get(
    "/events",
    auth=READS,
    response={200: schemas.EventsOut, **ANSWERS},
    summary="Events behind a figure",
)
def events(request: HttpRequest, asked: Query[schemas.FigureIn]) -> Any:
    """The flows that make one figure of a population change, oldest first."""
    _not_while_counting(request)
    question = _question(asked)
    said = {"figure": asked.figure, "unit": asked.unit, "taxon": asked.taxon, "group": asked.group}
    form = FigureForm({name: value for name, value in said.items() if value not in (None, "")})
    if not form.is_valid():
        raise _unreadable(form.errors)
    found = behind(question, form.cleaned_data["figure"], form.selection(question.by), zone=_zone())
    return {
        **_page(request, asked, len(found.counted)),
        "figure": found.figure,
        "sum": found.total,
        "rows": [_flow(line) for line in lines_of(_part(found.counted, asked))],
    }


@router.get("/stock", auth=READS, response={200: schemas.StockOut, **ANSWERS}, summary="Stock list")
def stock(request: HttpRequest, asked: Query[schemas.StockIn]) -> Any:
    """What is held at the end of a day, by taxon, place, lot or source, as known at a moment."""
    _not_while_counting(request)
    as_of = asked.as_of or timezone.localdate(clock.now())
    rows = stock_of(
        by=asked.by, before=end_of_day(as_of, _zone()), known_at=asked.known_at, scope=asked.scope
    )
    columns = ("males", "females", "hermaphrodites", "unknown", "total", "missing")
    return {
        **_page(request, asked, len(rows)),
        "as_of": as_of,
        "rows": [
            {"label": row.label, "unit": row.unit, **{name: getattr(row.held, name) for name in columns}}
            for row in _part(rows, asked)
        ],
    }


@router.get("/permits", auth=READS, response={200: schemas.PermitsOut, **ANSWERS}, summary="Permits' table")
def permits(request: HttpRequest, asked: Query[schemas.PermitsIn]) -> Any:
    """What was taken under each line of each permit and what is left, at the end of a day."""
    _not_while_counting(request)
    as_of = asked.as_of or timezone.localdate(clock.now())
    chosen = Permit.objects.select_related("authority").order_by("number")
    if asked.permit:
        chosen = chosen.filter(number=asked.permit)
    found = accounts(list(chosen), as_of=as_of, zone=_zone(), known_at=asked.known_at)
    rows = [(account, line) for account in found.values() for line in account.lines]
    return {
        **_page(request, asked, len(rows)),
        "as_of": as_of,
        "rows": [_permit_line(account.permit.number, line) for account, line in _part(rows, asked)],
    }


def _permit_line(number: str, row: Any) -> dict[str, Any]:
    of_takes = row.takes[0].take.unit if row.takes else ""
    return {
        "permit": number,
        "line": row.line.number if row.line else None,
        "words": row.words,
        "names": list(row.names),
        "limit": row.line.limit if row.line else None,
        "per": row.line.per if row.line else "",
        "unit": row.line.unit if row.line else of_takes,
        **{
            name: getattr(row.used, name)
            for name in ("caught", "let_go", "died", "kept", "counted", "left", "over")
        },
    }


def _flow(line: Any) -> dict[str, Any]:
    event, one, other = line.event, line.flow.from_cell, line.flow.to_cell
    bounds = getattr(event, "stated_range", None)
    return {
        "event": event.pk,
        "kind": event.kind,
        "happened": event.happened,
        "entered_at": event.entered_at,
        "entered_by": event.entered_by.name,
        "approved_by": event.approved_by.name if event.approved_by else "",
        "from_lot": one.lot.accession,
        "from_account": one.account.place.code if one.account.place else one.account.cause,
        "to_lot": other.lot.accession,
        "to_account": other.account.place.code if other.account.place else other.account.cause,
        "counts": line.n,
        "at_least": bounds.low if bounds else None,
        "at_most": bounds.high if bounds else None,
        "reason": "; ".join(part for part in (event.reason, event.cause) if part),
    }


def _number(total: Any, column: str) -> int:
    return int(total.flows[column] if column in total.flows else getattr(total, column))


def _not_while_counting(request: HttpRequest) -> None:
    """As the pages: a total less the other rows would give away what is hidden."""
    who = request.auth  # type: ignore[attr-defined]
    if isinstance(who, Device):
        seen(who, now=clock.now())
        hidden = blind.hidden_from_anybody()
    else:
        hidden = blind.hidden_from(who)
    if hidden:
        raise Refused(403, "A tank is being counted: no figures until its sheet is handed in.", "counting")


def _question(asked: schemas.QuestionIn) -> Question:
    """The question, read and completed by the form of the page."""
    said: dict[str, str] = {"by": asked.by.value, "scope": asked.scope.value}
    for name in ("first_day", "last_day"):
        day = getattr(asked, name)
        said |= {name: day.isoformat()} if day else {}
    if asked.basis:
        said["basis"] = asked.basis.value
    if asked.known_at:
        said["known_at"] = moment_in_address(asked.known_at, _zone())
    form = QuestionForm(said, today=timezone.localdate(clock.now()))
    if not form.is_valid():
        raise _unreadable(form.errors)
    question: Question = form.cleaned_data["question"]
    return question


def _unreadable(errors: Any) -> Refused:
    words = "; ".join(f"{name}: {' '.join(found)}" for name, found in errors.items())
    return Refused(422, words, "unreadable")


def _page(request: HttpRequest, asked: schemas.PageIn, total: int) -> dict[str, Any]:
    upto = asked.offset + asked.limit
    following = {**request.GET.dict(), "offset": upto, "limit": asked.limit}
    address = f"{request.path}?{urlencode(following)}" if upto < total else None
    return {"total": total, "next": address, "head": head_of_chain()}


def _part(rows: Sequence[Thing], asked: schemas.PageIn) -> Sequence[Thing]:
    return rows[asked.offset : asked.offset + asked.limit]


def _zone() -> tzinfo:
    return timezone.get_current_timezone()
