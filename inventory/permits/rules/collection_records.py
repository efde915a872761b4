"""Collection records: one row for each take, as plain values, and the columns that they can be written in.

The columns are those that agencies ask for; each bears its Darwin Core name where the standard has one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal
from math import ceil, cos, hypot, radians

from .whereabouts import FATES, HERE, MISSING, ON_LOAN, Whereabouts, in_words

Value = str | int | Decimal | date | None
JOINED = " | "


@dataclass(frozen=True, slots=True)
class Name:
    """What the animals are called by the house, and where that name stands in the backbone."""

    scientific_name: str = ""
    authorship: str = ""
    rank: str = ""
    taxon_id: str = ""
    kingdom: str = ""
    phylum: str = ""
    class_name: str = ""
    order: str = ""
    family: str = ""
    genus: str = ""
    introduced: bool = False


@dataclass(frozen=True, slots=True)
class Position:
    """Where animals were caught. Decimal degrees; ``generalised`` says how it was made coarse, if it was.

    ``doubtful``: a case of its coordinates is open.
    """

    locality: str = ""
    latitude: Decimal | None = None
    longitude: Decimal | None = None
    datum: str = ""
    uncertainty_m: int | None = None
    generalised: str = ""
    withheld: str = ""
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class PermitFacts:
    """The permit that a take stands under, on its day."""

    number: str
    authority: str
    kind: str
    line: int | None
    words: str
    valid_from: date
    valid_until: date
    valid: bool


@dataclass(frozen=True, slots=True)
class Record:
    """One take. Numbers are in ``unit``; ``into_stock`` counts what was kept in ``stock_unit``.

    ``take`` and ``trip`` are identifiers that stay through corrections.
    """

    take: str
    trip: str
    happened: str
    position: Position
    depth_from_m: Decimal | None
    depth_to_m: Decimal | None
    gear: str
    people: tuple[str, ...]
    permit: PermitFacts
    verbatim: str
    qualifier: str
    name: Name
    release: str
    caught: int
    let_go: int
    died: int
    kept: int
    unit: str
    into_stock: int | None
    stock_unit: str
    sex: str
    stage: str
    size_mm: int | None
    berried: bool | None
    bycatch: bool
    lot: str
    remarks: str
    amended: str
    entered_at: datetime
    now: Sequence[Whereabouts] = field(default=())

    @property
    def disposition(self) -> str:
        """What has become of what was kept: "in collection", or numbers for each fate."""
        parts = [part for of_unit in self.now for part in _dispositions(of_unit)]
        if len(parts) == 1 and parts[0][1] == "all":
            return parts[0][0]
        return JOINED.join(f"{words}: {number}" for words, number in parts)


# The words of Darwin Core's examples where it has some.
_DISPOSITIONS = {HERE: "in collection", ON_LOAN: "on loan", MISSING: "missing"}


def _dispositions(of_unit: Whereabouts) -> list[tuple[str, str]]:
    if of_unit.hidden:
        return [("not told", "these animals are being counted")]
    found = []
    for fate in FATES:
        bounds = of_unit.by_fate[fate]
        words = _DISPOSITIONS.get(fate, fate.words)
        if bounds.least == of_unit.kept:
            return [(words, "all")]
        if bounds.most:
            found.append((words, in_words(bounds)))
    return found


@dataclass(frozen=True, slots=True)
class Column:
    """``code`` in files for programs: the Darwin Core name where ``standard``, else a word of ours."""

    code: str
    heading: str
    of: Callable[[Record], Value]
    standard: bool = True


def stocked(record: Record) -> int | None:
    """How many of what was kept went into the stock, in the stock's unit; None when nothing was kept."""
    if not record.kept:
        return None
    return record.kept if record.into_stock is None else record.into_stock


def _own(code: str, heading: str, of: Callable[[Record], Value]) -> Column:
    return Column(code, heading, of, standard=False)


COLUMNS: Sequence[Column] = (
    Column("eventID", "trip", lambda r: r.trip),
    Column("eventDate", "date", lambda r: r.happened),
    Column("locality", "place in words", lambda r: r.position.locality),
    Column("decimalLatitude", "latitude", lambda r: r.position.latitude),
    Column("decimalLongitude", "longitude", lambda r: r.position.longitude),
    Column("geodeticDatum", "datum", lambda r: r.position.datum),
    Column("coordinateUncertaintyInMeters", "uncertainty, m", lambda r: r.position.uncertainty_m),
    Column("minimumDepthInMeters", "depth from, m", lambda r: r.depth_from_m),
    Column("maximumDepthInMeters", "depth to, m", lambda r: r.depth_to_m),
    Column("samplingProtocol", "method or gear", lambda r: r.gear),
    Column("recordedBy", "collector", lambda r: JOINED.join(r.people)),
    _own("permitNumber", "permit", lambda r: r.permit.number),
    _own("permitLineNumber", "line of the permit", lambda r: r.permit.line),
    _own("permitLine", "permit's line as written", lambda r: r.permit.words),
    _own("validOnTheDay", "permit valid on the day", lambda r: _yes(r.permit.valid)),
    Column("verbatimIdentification", "name as typed", lambda r: r.verbatim),
    Column("identificationQualifier", "qualifier", lambda r: r.qualifier),
    Column("scientificName", "accepted name", lambda r: r.name.scientific_name),
    Column("scientificNameAuthorship", "authorship", lambda r: r.name.authorship),
    Column("taxonID", "identifier of the name", lambda r: r.name.taxon_id),
    Column("nameAccordingTo", "backbone release", lambda r: r.release),
    _own("numberTaken", "number taken", lambda r: r.caught),
    _own("numberLetGo", "let go alive", lambda r: r.let_go),
    _own("numberDied", "died in the process", lambda r: r.died),
    _own("numberKept", "kept", lambda r: r.kept),
    _own("unit", "counted in", lambda r: r.unit),
    _own("numberIntoStock", "into the stock", stocked),
    _own("stockUnit", "stock counted in", lambda r: r.stock_unit if r.kept else ""),
    Column("sex", "sex", lambda r: r.sex),
    Column("lifeStage", "life stage", lambda r: r.stage),
    _own("sizeInMillimetres", "size, mm", lambda r: r.size_mm),
    Column("disposition", "what became of what was kept", lambda r: r.disposition),
    Column("organismID", "our lot", lambda r: r.lot),
    _own("bycatch", "by-catch", lambda r: _yes(r.bycatch)),
    Column("occurrenceRemarks", "remarks", lambda r: r.remarks),
    _own("amended", "amended", lambda r: r.amended),
    Column("dataGeneralizations", "made less exact", lambda r: r.position.generalised),
    Column("informationWithheld", "left out", lambda r: r.position.withheld),
    Column("occurrenceID", "identifier of the row", lambda r: r.take),
)


def _yes(value: bool) -> str:
    return "yes" if value else "no"


COARSE_DEGREES = Decimal("0.1")
# The longest degree of latitude or longitude of the WGS 84 ellipsoid is 111.7 km.
_METRES_A_DEGREE = 111_700
_COARSE_METRES = 100


_LEFT_OUT = "The place in words and remarks are left out."


def coarsened(record: Record, *, house: str, degrees: Decimal = COARSE_DEGREES) -> Record:
    """The record with its position rounded to a grid of ``degrees``, without what may tell the place in
    words, and both said.

    The uncertainty grows by half the diagonal of a cell, so that the circle still holds the true place. It
    is reckoned from the cell alone: of the true latitude it would give the lost digits away.
    """
    position = record.position
    withheld = (
        f"Exact position, place in words and remarks: kept by {house}, given to the authority on request."
    )
    coarse = Position(generalised=_LEFT_OUT, withheld=withheld, doubtful=position.doubtful)
    if position.latitude is not None and position.longitude is not None:
        latitude = _rounded(position.latitude, degrees)
        half = float(degrees) / 2
        # The edge nearer to the equator is the longer one.
        widest = max(0.0, abs(float(latitude)) - half)
        moved = ceil(hypot(half, half * cos(radians(widest))) * _METRES_A_DEGREE)
        coarse = Position(
            latitude=latitude,
            longitude=_rounded(position.longitude, degrees),
            datum=position.datum,
            # Rounded up as well, for an unusual number would mark its trip.
            uncertainty_m=_COARSE_METRES * ceil((moved + (position.uncertainty_m or 0)) / _COARSE_METRES),
            generalised=f"Coordinates rounded to {degrees} degree, and the uncertainty made larger by it. "
            + _LEFT_OUT,
            withheld=withheld,
            doubtful=position.doubtful,
        )
    return replace(record, position=coarse, remarks="", amended="yes" if record.amended else "")


def plain(value: Decimal | None) -> Decimal | None:
    """Without the zeros that a database adds, which would claim an exactness that nobody stated."""
    if value is None:
        return None
    short = value.normalize()
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


def coarse_degrees(value: Decimal) -> Decimal:
    """A coordinate for those who need not know the exact place."""
    return _rounded(value, COARSE_DEGREES)


def _rounded(value: Decimal, degrees: Decimal) -> Decimal:
    return (value / degrees).to_integral_value() * degrees
