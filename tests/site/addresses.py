"""One address for every route of the house, filled from what the demo house holds."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Model
from django.urls import URLPattern, URLResolver, get_resolver

from census.reports.models import ReportJob, SavedReport
from census.rounds.models import Census, Line
from inventory.book.models import Document, Event, Lot, PeriodVersion, Place
from inventory.names.models import BackboneRelease, NameCheck, Taxon
from inventory.people.models import Device, Person, RoleTerm
from inventory.permits.models import Authority, Case, Loan, Permit, PermitReturn, Sighting, Take, Trip
from inventory.tankside.models import Entry, EntryPicture

_PARAMETER = re.compile(r"<(?:\w+:)?(\w+)>")
# Of which table a route's number is, by the beginning of its address.
_NUMBERED: tuple[tuple[str, type[Model]], ...] = (
    ("devices/", Device),
    ("codes/", Person),
    ("people/inspection/", RoleTerm),
    ("people/", Person),
    ("my-sign-in/factor/", Person),
    ("event/", Event),
    ("picture/entry/", EntryPicture),
    ("on-no-list/", Entry),
    ("permits/trade/event/", Event),
    ("backbone/", BackboneRelease),
    ("names/", NameCheck),
    ("permits/case/", Case),
    ("permits/sighting/", Sighting),
    ("permit/", Permit),
    ("take/", Take),
    ("return/", PermitReturn),
    ("authority/", Authority),
    ("loan/", Loan),
    ("reports/made/", ReportJob),
    ("reports/saved/", SavedReport),
)
_STEPS = {"sheet_step": "issue"}


@dataclass(frozen=True, slots=True)
class Route:
    """One address pattern, its name, and the view behind it."""

    pattern: str
    name: str
    view: Any

    @property
    def is_interface(self) -> bool:
        return self.pattern.startswith("api/")


def routes() -> list[Route]:
    """Every address of the house, as Django's resolver has it."""
    return list(_below(get_resolver().url_patterns, ""))


def _below(patterns: list[URLPattern | URLResolver], prefix: str) -> Iterator[Route]:
    for one in patterns:
        if isinstance(one, URLResolver):
            yield from _below(one.url_patterns, prefix + str(one.pattern))
        else:
            yield Route(prefix + str(one.pattern), one.name or "", one.callback)


class Addresses:
    """Addresses that lead somewhere; of rows that the house lacks they name number 1."""

    def __init__(self) -> None:
        line = Line.objects.select_related("sheet").order_by("pk")[0]
        trip, version = Trip.objects.order_by("pk")[0], PeriodVersion.objects.order_by("-pk")[0]
        document = Document.objects.first()
        self._values: dict[str, object] = {
            "accession": Lot.objects.order_by("pk")[0].accession,
            "kind": "died",
            "scientific_name": Taxon.objects.order_by("pk")[0].scientific_name,
            "sha256": document.sha256 if document else "0" * 64,
            "key": "died-1",
            "token": "unknown",
            "year": 2026,
            "form": "csv",
            "taxon": Taxon.objects.order_by("pk")[0].pk,
            "identifier": trip.identifier,
            "entry": trip.identifier,
            "of": "take",
            "row": _number(Take),
            "number": 1,
            "method": "passes",
            "name": "statement.pdf",
            "scan": 1,
            # None is called so: who may ask is decided first, and no file is made for each role.
            "layout": "none",
            "step": "issue",
        }
        self._sheet, self._line = line.sheet.number, line.number
        self._census, self._place = Census.objects.latest("cutoff").code, Place.objects.order_by("pk")[0].code
        self._period, self._version = version.period.code, version.number

    def of(self, route: Route) -> str:
        """An address of the route."""
        values = dict(self._values)
        if route.pattern.startswith("sheet/"):
            values |= {"number": self._sheet, "line": self._line}
        elif route.pattern.startswith("period/"):
            values |= {"code": self._period, "number": self._version}
        elif route.pattern.startswith("populations/"):
            values["name"] = "trend"
        values["code"] = values.get("code") or (
            self._census if route.pattern.startswith("census/") else self._place
        )
        model = next((model for start, model in _NUMBERED if route.pattern.startswith(start)), None)
        if model is not None:
            values["pk"] = _number(model)
        return "/" + _PARAMETER.sub(lambda found: str(values[found.group(1)]), route.pattern)


def _number(model: Any) -> int:
    """The number of any row; 1 where there is none."""
    return model.objects.order_by("pk").values_list("pk", flat=True).first() or 1
