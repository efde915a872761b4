"""Who must approve an adjustment, and who may not."""

from collections.abc import Collection
from dataclasses import dataclass

from .settings import DEFAULTS, CensusSettings
from .tolerance import percent_of


@dataclass(frozen=True, slots=True)
class AdjustmentCase:
    """``n``: animals adjusted the same way in this census, without sign; ``book``: the book before.

    ``permit_or_loan``: any animal of the line came under a permit or belongs to somebody else.
    ``tank_held`` and ``tank_unexplained_loss``: what the place held, and the net unexplained loss
    there in this census with this adjustment (negative: a net gain).
    """

    count_class: str
    n: int
    book: int
    unexplained: bool
    permit_or_loan: bool = False
    stock_condition: bool = False
    tank_held: int = 0
    tank_unexplained_loss: int = 0


@dataclass(frozen=True, slots=True)
class ApprovalNeeded:
    """Whose names must stand under it, beside the registrar's; ``why`` in words for the page."""

    curator: bool = False
    permit_officer: bool = False
    note: bool = False
    why: tuple[str, ...] = ()

    @property
    def registrar_alone(self) -> bool:
        return not (self.curator or self.permit_officer)


def approval_needed(case: AdjustmentCase, settings: CensusSettings = DEFAULTS) -> ApprovalNeeded:
    """Section "who approves an adjustment" of the procedure, as one function."""
    why = []
    over, limit = _over_limit(case, settings)
    class_a = case.count_class == "A"
    if class_a:
        why.append("class A")
    if over:
        of_what = " for what is unexplained" if case.unexplained else ""
        why.append(f"{case.n} is above the registrar's limit of {limit}{of_what}")
    tank = _tank_alarm(case, settings)
    if tank:
        why.append(
            f"unexplained loss of the tank above {settings.tank_loss_alarm_census_percent} per cent: "
            "a written note on the tank is needed"
        )
    officer = case.stock_condition or (class_a and case.permit_or_loan)
    if officer:
        why.append("on a permit or loan")
    return ApprovalNeeded(class_a or over or tank, officer, tank, tuple(why))


def barred_from_approving(
    approver: int, *, counted: Collection[int], typed: Collection[int], entered: int
) -> str:
    """Why this person (an id) may not approve; empty when nothing stands against it."""
    if approver in counted:
        return "counted this line"
    if approver in typed:
        return "typed this line"
    if approver == entered:
        return "entered this decision"
    return ""


def _over_limit(case: AdjustmentCase, settings: CensusSettings) -> tuple[bool, int]:
    animals, percent = settings.registrar_limit_animals, settings.registrar_limit_percent
    if case.unexplained:
        animals = settings.registrar_limit_unexplained_animals
        percent = settings.registrar_limit_unexplained_percent
    limit = max(animals, percent_of(max(case.book, 0), percent))
    return case.n > limit, limit


def _tank_alarm(case: AdjustmentCase, settings: CensusSettings) -> bool:
    if not case.unexplained or case.tank_unexplained_loss <= 0:
        return False
    return case.tank_unexplained_loss * 100 > settings.tank_loss_alarm_census_percent * case.tank_held
