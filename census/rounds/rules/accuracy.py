"""Record accuracy: lines inside tolerance / lines counted, per class; never on sums."""

from collections.abc import Iterable
from dataclasses import dataclass

from .compare import Comparison
from .words import MEASURED_CLASSES, MEASURED_KINDS, MEASURED_UNITS, LineKind

# Targets in per cent of lines (*common practice, no source*).
TARGETS = {"A": 100, "B": 97, "C": 90}


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Lines counted, of these exact, of these inside tolerance (exact ones included)."""

    lines: int = 0
    exact: int = 0
    inside: int = 0

    def __add__(self, other: "Accuracy") -> "Accuracy":
        return Accuracy(self.lines + other.lines, self.exact + other.exact, self.inside + other.inside)

    @property
    def percent(self) -> float | None:
        """Share of counted lines inside tolerance, in per cent; ``None`` when none was counted."""
        return round(100 * self.inside / self.lines, 1) if self.lines else None


def is_measured(kind: str, unit: str, count_class: str) -> bool:
    """True for the lines that record accuracy is made of.

    Letters, write-ins, presence lines and other units (egg cases, egg masses) stand apart.
    """
    return LineKind(kind) in MEASURED_KINDS and unit in MEASURED_UNITS and count_class in MEASURED_CLASSES


def accuracy_by_class(compared: Iterable[tuple[str, Comparison]]) -> dict[str, Accuracy]:
    """Accuracy of each class from (class, comparison) of measured lines; uncounted ones do not count."""
    totals = {count_class: Accuracy() for count_class in MEASURED_CLASSES}
    for count_class, comparison in compared:
        if comparison.counted:
            totals[count_class] += Accuracy(1, int(comparison.exact), int(comparison.inside))
    return totals


def total(by_class: dict[str, Accuracy]) -> Accuracy:
    """All classes together; still lines, not animals."""
    return sum(by_class.values(), Accuracy())


@dataclass(frozen=True, slots=True)
class Differences:
    """Losses and gains apart, as units and as lines; ``net`` hides what ``gross`` shows."""

    gains: int = 0
    gain_lines: int = 0
    losses: int = 0
    loss_lines: int = 0

    @property
    def net(self) -> int:
        return self.gains - self.losses

    @property
    def gross(self) -> int:
        return self.gains + self.losses


def gains_and_losses(differences: Iterable[int]) -> Differences:
    """Sums the differences of lines of one unit, pluses and minuses never against each other."""
    found = list(differences)
    return Differences(
        gains=sum(d for d in found if d > 0),
        gain_lines=sum(1 for d in found if d > 0),
        losses=-sum(d for d in found if d < 0),
        loss_lines=sum(1 for d in found if d < 0),
    )
