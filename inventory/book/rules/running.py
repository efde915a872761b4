"""The book in memory, for as long as one batch of events is read into flows.

Plain values only: lots by accession, places by code, balances by cell. The writer fills it with
what the batch touches, and each flow that is found moves it on.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import NamedTuple

PRESENT = "present"
MISSING = "missing"


class CellKey(NamedTuple):
    """A cell by its meaning. ``account`` is ``place:CODE`` or ``outside:CAUSE``."""

    lot: str
    account: str
    sex: str
    stage: str
    standing: str = PRESENT

    @property
    def inside(self) -> bool:
        return self.account.startswith("place:")


def place_account(code: str) -> str:
    return f"place:{code}"


def outside_account(cause: str) -> str:
    return f"outside:{cause}"


class FlowDraft(NamedTuple):
    """``n`` animals from one cell to another."""

    from_cell: CellKey
    to_cell: CellKey
    n: int


def merged(flows: Iterable[FlowDraft]) -> list[FlowDraft]:
    """The flows of one event with those between the same two cells added up."""
    sums: dict[tuple[CellKey, CellKey], int] = {}
    for flow in flows:
        sums[flow[:2]] = sums.get(flow[:2], 0) + flow.n
    return [FlowDraft(*cells, n) for cells, n in sums.items()]


@dataclass(frozen=True, slots=True)
class LotFacts:
    accession: str
    individual: bool
    unit: str


@dataclass(frozen=True, slots=True)
class PlaceFacts:
    code: str
    name: str
    off_site: bool
    feed: bool


@dataclass
class RunningBook:
    """Lots, places and balances that a batch of events can touch; ``zone`` is for messages."""

    zone: tzinfo
    lots: dict[str, LotFacts] = field(default_factory=dict)
    places: dict[str, PlaceFacts] = field(default_factory=dict)
    balances: dict[CellKey, int] = field(default_factory=dict)
    # Whole histories, kept for individuals only: a backdated event asks where they were then.
    histories: dict[str, list[tuple[datetime, FlowDraft]]] = field(default_factory=lambda: defaultdict(list))
    _by_box: dict[tuple[str, str], list[CellKey]] = field(default_factory=lambda: defaultdict(list))

    def put(self, cell: CellKey, balance: int) -> None:
        """Enters a cell with its balance."""
        if cell not in self.balances:
            self._by_box[cell.lot, cell.account].append(cell)
        self.balances[cell] = balance

    def balance(self, cell: CellKey) -> int:
        return self.balances.get(cell, 0)

    def cells(self, lot: str, account: str) -> list[CellKey]:
        """The cells of a lot in one account that ever held something."""
        return self._by_box.get((lot, account), [])

    def total(self, lot: str, account: str) -> int:
        return sum(self.balances[cell] for cell in self.cells(lot, account))

    def accounts(self, lot: str) -> list[str]:
        """The accounts in which the lot has a cell; for messages and loans, not for speed."""
        return [account for box_lot, account in self._by_box if box_lot == lot]

    def apply(self, flows: Iterable[FlowDraft], moment: datetime) -> None:
        """Moves the balances on by ``flows``, which happen at ``moment``."""
        for flow in flows:
            self.put(flow.from_cell, self.balance(flow.from_cell) - flow.n)
            self.put(flow.to_cell, self.balance(flow.to_cell) + flow.n)
            self.remember(flow, moment)

    def remember(self, flow: FlowDraft, moment: datetime) -> None:
        """Adds a flow to the history of the individuals it concerns."""
        for lot in {flow.from_cell.lot, flow.to_cell.lot}:
            facts = self.lots.get(lot)
            if facts and facts.individual:
                self.histories[lot].append((moment, flow))

    def position(self, lot: str, moment: datetime) -> CellKey | None:
        """The cell in which an individual is at ``moment``, or None when it is not held."""
        balances: dict[CellKey, int] = defaultdict(int)
        for happened, flow in self.histories.get(lot, ()):
            if happened <= moment:
                balances[flow.from_cell] -= flow.n
                balances[flow.to_cell] += flow.n
        held = [cell for cell, n in balances.items() if n > 0 and cell.inside and cell.lot == lot]
        return held[0] if len(held) == 1 else None
