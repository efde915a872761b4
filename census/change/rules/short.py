"""The short form of the population change: one row that a person takes in at a glance."""

from dataclasses import dataclass

from .arithmetic import Change
from .columns import IN_COLUMNS, OUT_COLUMNS

# Below this opening a per cent says less than the animals: five animals have no percentage.
PERCENT_FROM = 20


@dataclass(frozen=True, slots=True)
class Short:
    """Opening + came_in - went_out + found - unaccounted + between + late = closing.

    Unexplained gains and losses stand apart and are never netted. ``between`` is the net of moves
    and regroups with other rows; it is zero over the house.
    """

    opening: int
    came_in: int
    went_out: int
    found: int
    unaccounted: int
    between: int
    late: int
    closing: int

    @property
    def change(self) -> int:
        return self.closing - self.opening

    @property
    def percent(self) -> float | None:
        """Change in per cent of the opening; None where animals say more."""
        return 100 * self.change / self.opening if self.opening >= PERCENT_FROM else None

    @property
    def unexplained(self) -> str:
        """``+6 / -15``; empty when there is neither."""
        return f"+{self.found} / -{self.unaccounted}" if self.found or self.unaccounted else ""


def short_form(change: Change) -> Short:
    """The short form of one row or total."""
    flows = change.flows
    return Short(
        opening=change.opening,
        came_in=sum(flows[column] for column in IN_COLUMNS if column != "found"),
        went_out=sum(flows[column] for column in OUT_COLUMNS if column != "unaccounted"),
        found=flows["found"],
        unaccounted=flows["unaccounted"],
        between=flows["moved_in"] - flows["moved_out"] + flows["regrouped_in"] - flows["regrouped_out"],
        late=change.late,
        closing=change.closing,
    )
