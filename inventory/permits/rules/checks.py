"""What a take is checked against, as it is entered. Every breach is told; none refuses the record.

Plain values in, breaches in words out. What is checked of coordinates: that they lie on the globe, that
latitude and longitude are not swapped (the swapped pair lies inside the permit's area, or the latitude
as written cannot be one), that they lie inside the permit's area where that is known as a polygon, that
they lie in the waters of which the permit speaks, by a coastline and within what that errs (`.shore`), and
that they are not 0, 0. An area and a coast are two matters: one position can break both.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from .shore import Shore, Waters, wrong_side


class CaseKind(StrEnum):
    """Each is a matter of its own, with an owner."""

    OVER_LIMIT = "over_limit"
    EXPIRED = "expired"
    NOT_NAMED = "not_named"
    NOT_LISTED = "not_listed"
    OUTSIDE_AREA = "outside_area"
    COORDINATES = "coordinates"
    GEAR = "gear"
    SEASON = "season"
    UNIT = "unit"
    CONDITION = "condition"


# These concern a trip, the others one take of it.
OF_TRIPS = frozenset(
    {
        CaseKind.EXPIRED,
        CaseKind.NOT_NAMED,
        CaseKind.OUTSIDE_AREA,
        CaseKind.COORDINATES,
        CaseKind.GEAR,
        CaseKind.SEASON,
    }
)
Corner = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Breach:
    """One thing that the permit does not allow: what, and in words why."""

    kind: CaseKind
    words: str


@dataclass(frozen=True, slots=True)
class Terms:
    """What a version of a permit says to a trip. ``area`` is a polygon of (longitude, latitude)."""

    number: str
    valid_from: date
    valid_until: date
    people: frozenset[str] = frozenset()
    area: Sequence[Corner] = ()
    area_words: str = ""
    gear: Sequence[str] = ()
    seasons: Sequence[tuple[str, str]] = ()
    waters: str = Waters.SEA.value


@dataclass(frozen=True, slots=True)
class TripFacts:
    """What a slip says of a trip. ``shore``: how far from it the position lies; None: nobody looked."""

    starts_on: date
    ends_on: date
    people: Sequence[str] = ()
    latitude: float | None = None
    longitude: float | None = None
    uncertainty_m: int = 0
    shore: Shore | None = None
    gear: str = ""


@dataclass(frozen=True, slots=True)
class LineTerms:
    """What a line allows, besides its number. ``sex`` blank: any; sizes in millimetres."""

    words: str
    unit: str = "animal"
    sex: str = ""
    condition: str = ""
    smallest_mm: int | None = None
    largest_mm: int | None = None


@dataclass(frozen=True, slots=True)
class TakeFacts:
    """What a slip says of one take."""

    name: str
    unit: str = "animal"
    kept: int = 0
    died: int = 0
    sex: str = ""
    size_mm: int | None = None
    berried: bool | None = None
    into_stock: int | None = None
    # Nobody has decided yet what animal the name means.
    name_is_open: bool = False


@dataclass(slots=True)
class _Found:
    breaches: list[Breach] = field(default_factory=list)

    def add(self, kind: CaseKind, words: str) -> None:
        self.breaches.append(Breach(kind, words))


def check_trip(trip: TripFacts, terms: Terms) -> list[Breach]:
    """Validity on each day of the trip, people, gear, season, position."""
    found = _Found()
    _validity(trip, terms, found)
    unnamed = [person for person in trip.people if person not in terms.people]
    if terms.people and unnamed:
        found.add(CaseKind.NOT_NAMED, f"{', '.join(unnamed)} not named on {terms.number}")
    elif terms.people and not trip.people:
        found.add(CaseKind.NOT_NAMED, f"nobody is said to have been on the trip; {terms.number} names people")
    if terms.gear and not _gear_allowed(trip.gear, terms.gear):
        used = f"{trip.gear} used" if trip.gear else "the gear is not said"
        found.add(CaseKind.GEAR, f"{used}; {terms.number} allows {', '.join(terms.gear)}")
    closed = [day for day in (trip.starts_on, trip.ends_on) if not in_season(day, terms.seasons)]
    if closed:
        open_from = ", ".join(f"{start} to {end}" for start, end in terms.seasons)
        found.add(CaseKind.SEASON, f"{closed[0]} lies outside the season of {terms.number} ({open_from})")
    found.breaches.extend(
        check_position(
            trip.latitude, trip.longitude, terms, shore=trip.shore, uncertainty_m=trip.uncertainty_m
        )
    )
    return found.breaches


def _validity(trip: TripFacts, terms: Terms, found: _Found) -> None:
    if trip.ends_on > terms.valid_until:
        late = (trip.ends_on - terms.valid_until).days
        found.add(
            CaseKind.EXPIRED,
            f"{trip.ends_on} is {late} {'day' if late == 1 else 'days'} after {terms.number} "
            f"expired on {terms.valid_until}",
        )
    if trip.starts_on < terms.valid_from:
        found.add(CaseKind.EXPIRED, f"{trip.starts_on} is before {terms.number} begins on {terms.valid_from}")


def _gear_allowed(used: str, allowed: Sequence[str]) -> bool:
    """Each gear named (several are joined with commas or +) is one of those allowed."""
    parts = [part.strip().lower() for part in used.replace("+", ",").split(",") if part.strip()]
    words = {gear.strip().lower() for gear in allowed}
    return bool(parts) and all(part in words for part in parts)


def in_season(day: date, seasons: Sequence[tuple[str, str]]) -> bool:
    """True when ``day`` lies in one of the seasons; they may run over the new year. None: all year."""
    mark = f"{day:%m-%d}"
    return not seasons or any(
        start <= mark <= end if start <= end else mark >= start or mark <= end for start, end in seasons
    )


def check_position(
    latitude: float | None,
    longitude: float | None,
    terms: Terms,
    *,
    shore: Shore | None = None,
    uncertainty_m: int = 0,
) -> list[Breach]:
    """What is doubtful in a pair of coordinates; nothing when none are given."""
    if latitude is None or longitude is None:
        if latitude is not None or longitude is not None:
            return [Breach(CaseKind.COORDINATES, "only one of latitude and longitude is given")]
        return []
    told = f"latitude {latitude:g}, longitude {longitude:g}"
    inside = bool(terms.area) and inside_polygon(longitude, latitude, terms.area)
    swapped_inside = bool(terms.area) and inside_polygon(latitude, longitude, terms.area)
    if swapped_inside and not inside:
        return [Breach(CaseKind.COORDINATES, f"{told}: swapped, they lie inside the area of {terms.number}")]
    found = _Found()
    if terms.area and not inside:
        area = f" ({terms.area_words})" if terms.area_words else ""
        found.add(CaseKind.OUTSIDE_AREA, f"{told} lies outside the area of {terms.number}{area}")
    if latitude == longitude == 0:
        found.add(CaseKind.COORDINATES, f"{told}: so some devices write where they know no position")
    elif shore is not None:
        doubt = wrong_side(shore, terms.waters, uncertainty_m=uncertainty_m, permit=terms.number)
        if doubt:
            found.add(CaseKind.COORDINATES, f"{told} {doubt}")
    return found.breaches


def refuse_position(latitude: float | None, longitude: float | None) -> str:
    """Why a pair cannot be coordinates at all, or nothing. The slip is kept, the pair asked for."""
    if latitude is not None and not -90 <= latitude <= 90:
        hint = ": is it the longitude? Swap the two" if longitude is None or abs(longitude) <= 90 else ""
        return f"latitude {latitude:g} is not between -90 and 90{hint}"
    if longitude is not None and not -180 <= longitude <= 180:
        return f"longitude {longitude:g} is not between -180 and 180"
    return ""


_POSITION = re.compile(
    r"latitude -?\d+(?:\.\d+)?(?:e-?\d+)?, longitude -?\d+(?:\.\d+)?(?:e-?\d+)?"
    r"|(?:latitude|longitude) -?\d+(?:\.\d+)?(?:e-?\d+)?"
    r"|-?\d{1,3}\.\d{2,}"
)


def without_position(words: str) -> str:
    """``words`` for those who may not know the place: positions, and numbers like one, are left out."""
    return _POSITION.sub("(position withheld)", words)


def inside_polygon(x: float, y: float, corners: Sequence[Corner]) -> bool:
    """True when the point lies inside or on the edge (even-odd rule; a small area in degrees)."""
    inside = False
    for (x1, y1), (x2, y2) in zip(corners, [*corners[1:], corners[0]], strict=True):
        cross = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
        between = min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)
        if cross == 0 and between:
            return True
        if (y1 > y) != (y2 > y) and x < (x2 - x1) * (y - y1) / (y2 - y1) + x1:
            inside = not inside
    return inside


def check_take(take: TakeFacts, line: LineTerms | None, *, permit: str) -> list[Breach]:
    """What one take breaks, limits apart: no line, unit, sex, size, condition."""
    if line is None:
        waits = (
            ": the name waits under Check names; once it is decided its line counts the animals"
            if take.name_is_open
            else ""
        )
        return [Breach(CaseKind.NOT_LISTED, f"no line of {permit} covers {take.name!r}{waits}")]
    found = _Found()
    if take.unit != line.unit:
        found.add(
            CaseKind.UNIT,
            f"{take.name!r} is counted in {take.unit!r}, the line “{line.words}” in {line.unit!r}: "
            f"say how many of the unit {line.unit!r} it was; until then it is not counted against the limit",
        )
    if line.sex and take.sex != line.sex and (take.kept or take.died):
        found.add(CaseKind.CONDITION, f"“{line.words}” is for {line.sex}s; {take.sex or 'no sex'} is stated")
    size = take.size_mm
    if line.smallest_mm is not None and (size is None or size < line.smallest_mm) and take.kept:
        stated = "no size is stated" if size is None else f"{size} mm was kept"
        found.add(CaseKind.CONDITION, f"“{line.words}” begins at {line.smallest_mm} mm; {stated}")
    if line.largest_mm is not None and (size is None or size > line.largest_mm) and take.kept:
        stated = "no size is stated" if size is None else f"{size} mm was kept"
        found.add(CaseKind.CONDITION, f"“{line.words}” ends at {line.largest_mm} mm; {stated}")
    if take.berried and "berried" in line.condition.lower() and take.kept:
        found.add(CaseKind.CONDITION, f"“{line.words}”: {line.condition}; one that carries eggs was kept")
    return found.breaches


def days_left(valid_until: date, today: date) -> int:
    """Days on which the permit can still be used, today counted; negative: expired so long ago."""
    days = (valid_until - today).days
    return days + 1 if days >= 0 else days
