"""Whether a sample test accepts a census (section 9 of the procedure: *common practice, no source*)."""

from collections.abc import Iterable
from dataclasses import dataclass

from .settings import DEFAULTS, CensusSettings
from .tolerance import tolerance

FLOOR_TO_LIST = "floor to list"
# One wrong line in each twenty, or part of twenty, is borne in class B and on the way back to the list.
ONE_IN = 20
DOUBLE_ABOVE_PERCENT = 10


@dataclass(frozen=True, slots=True)
class Sampled:
    """One result: its class ("" for what has none), from list to floor or back, right or wrong."""

    count_class: str
    right: bool
    floor_to_list: bool = False


@dataclass(frozen=True, slots=True)
class Acceptance:
    """``why``: what stands against it, in sentences; empty when the sample accepts the census."""

    looked_at: int
    wrong: int
    why: tuple[str, ...]

    @property
    def accepted(self) -> bool:
        return not self.why

    @property
    def next_doubles(self) -> bool:
        """More than a tenth was wrong: the next census's sample is twice as large."""
        return self.wrong * 100 > DOUBLE_ABOVE_PERCENT * self.looked_at


def is_right(count_class: str, book: int, found: int, settings: CensusSettings = DEFAULTS) -> bool:
    """A and B: the number itself; C: inside the per cent of the class."""
    if count_class == "C":
        return abs(found - book) <= tolerance("C", book, settings)
    return found == book


def accepted(results: Iterable[Sampled]) -> Acceptance:
    """No error in A; at most one in twenty in B; every C within its per cent."""
    found = list(results)
    why = []
    for count_class in ("A", "C"):
        wrong = _wrong(one for one in found if one.count_class == count_class and not one.floor_to_list)
        if wrong:
            why.append(f"{wrong} wrong in class {count_class}, where none may be")
    others = [one for one in found if one.count_class not in ("A", "C") and not one.floor_to_list]
    floor = [one for one in found if one.floor_to_list]
    for named, chosen in (("class B", others), ("animals found on the floor", floor)):
        borne = -(-len(chosen) // ONE_IN)
        if _wrong(chosen) > borne:
            why.append(f"{_wrong(chosen)} wrong of {len(chosen)} in {named}, more than one in {ONE_IN}")
    return Acceptance(len(found), _wrong(found), tuple(why))


def _wrong(results: Iterable[Sampled]) -> int:
    return sum(1 for one in results if not one.right)
