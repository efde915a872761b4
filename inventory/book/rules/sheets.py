"""The sheets that a house's records come in: their columns, and the rows of the two that it registers.

The columns are a contract with everybody who keeps such a workbook: a name is added, never changed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from .drafts import Problem


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a sheet may hold: its columns in order, those it cannot do without, and how long text may be."""

    name: str
    columns: tuple[str, ...]
    needed: tuple[str, ...]
    longest: Mapping[str, int] = field(default_factory=dict)

    def origin(self, row: int) -> str:
        """Where a row stands, for people."""
        return f"sheet {self.name}, row {row}"

    def problem(self, row: int, column: str, message: str) -> Problem:
        """A problem of one row."""
        return Problem(row, self.origin(row), column, message)


PLACES = Sheet(
    "places",
    columns=("code", "name", "kind", "parent", "joined_set", "water", "volume_m3"),
    needed=("code", "name", "kind"),
    longest={"code": 20, "name": 120, "joined_set": 40},
)
TAXA = Sheet(
    "taxa",
    columns=(
        "name",
        "common_name",
        "count_class",
        "unit",
        "counts_in_from",
        "can_change_sex",
        "can_divide",
        "look_alike_set",
    ),
    needed=("name",),
    longest={"name": 200, "common_name": 200, "unit": 40, "counts_in_from": 40, "look_alike_set": 100},
)
LOTS = Sheet(
    "lots",
    columns=("accession", "name", "kind", "unit", "owner", "house_name", "marks"),
    needed=("accession", "name", "kind"),
    longest={"accession": 40, "name": 200, "unit": 40, "owner": 120, "house_name": 80, "marks": 200},
)
EVENTS = Sheet(
    "events",
    columns=(
        "ref",
        "kind",
        "happened",
        "entered",
        "entered_by",
        "accession",
        "place",
        "to_place",
        "to_accession",
        "males",
        "females",
        "hermaphrodites",
        "unknown",
        "stage",
        "to_stage",
        "from_sex",
        "to_sex",
        "party",
        "permit",
        "cause",
        "reason",
        "reverses",
        "note",
        "at_least",
        "at_most",
    ),
    needed=("ref", "kind", "happened"),
    longest={
        "ref": 120,
        "entered_by": 120,
        "accession": 40,
        "place": 20,
        "to_place": 20,
        "to_accession": 40,
        "stage": 20,
        "to_stage": 20,
        "party": 120,
        "permit": 60,
        "cause": 120,
        "reason": 120,
        "reverses": 120,
    },
)
# In the order in which they are needed, whatever their order in the file.
SHEETS = (PLACES, TAXA, LOTS, EVENTS)

# Sheets of the house's workbook that come in by another door, and which. Permits, trips, takes and loans
# are read by the room that knows of them: see inventory/book/actions/load/guests.py.
OTHER_DOORS = {"counts": "counts are taken with `census take`"}


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One row of the sheet ``places``. None: the sheet has no such column, what the book has stays."""

    code: str
    name: str
    kind: str
    parent: str | None = None
    joined_set: str | None = None
    water: str | None = None
    volume_m3: Decimal | None = None
    states_volume: bool = False
    origin: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class LotRow:
    """One row of the sheet ``lots``. An empty accession asks for a number made here.

    ``name`` is the taxon's name as typed. An empty ``unit`` means the taxon's, an empty ``owner``
    the house. None: the sheet has no such column, what the book has stays.
    """

    accession: str
    name: str
    kind: str
    unit: str = ""
    owner: str | None = None
    house_name: str | None = None
    marks: str | None = None
    origin: str = field(default="", compare=False)
