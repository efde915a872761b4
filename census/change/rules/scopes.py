"""How the three scopes of a report hang together: here, ours, and both."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from inventory.book.rules.columns import Amounts, EndColumns, sums
from inventory.book.rules.scope import Scope


@dataclass(slots=True)
class ScopeNumbers:
    """What one moment holds of one unit. ``elsewhere``: ours in the hands of others; ``lent_to_us``: of those
    here, what others own; ``others_elsewhere``: what others own and others hold, booked all the same."""

    ours_here: int = 0
    lent_to_us: int = 0
    elsewhere: int = 0
    others_elsewhere: int = 0

    @property
    def here(self) -> int:
        return self.ours_here + self.lent_to_us

    @property
    def ours(self) -> int:
        return self.ours_here + self.elsewhere

    @property
    def all(self) -> int:
        return self.here + self.elsewhere + self.others_elsewhere

    def of(self, scope: Scope) -> int:
        """The figure that a report of this scope shows."""
        return {Scope.HERE: self.here, Scope.OURS: self.ours, Scope.ALL: self.all}[scope]


def scope_numbers(amounts: Amounts, ends: EndColumns) -> dict[str, ScopeNumbers]:
    """What is held by unit; outside cells count nothing."""
    held = amounts.of(ends.inside[amounts.cell])
    cell, others = held.cell, ends.owner[held.cell] != ends.owners.index("")
    at = ends.unit[cell] * 4 + ends.off_site[cell] * 2 + others
    named = np.unique(ends.unit[cell]).tolist()
    by_unit = sums(at, held.n, 4 * len(ends.units)).reshape(-1, 4).tolist()
    return {
        ends.units[unit]: ScopeNumbers(*by_unit[unit])
        for unit in sorted(named, key=lambda unit: ends.units[unit])
    }


def scopes_in_words(
    opening: Mapping[str, ScopeNumbers], closing: Mapping[str, ScopeNumbers], scope: Scope
) -> list[tuple[str, str]]:
    """A heading and a line for each unit: what leads from the total of one scope to those of the others.

    ``opening 2,622 here + 5 ours elsewhere = 2,627 in all; closing ...``
    """
    lines = []
    for unit in sorted({*opening, *closing}):
        ends = [
            f"{words} {_sum(numbers)}"
            for words, numbers in (
                ("opening", opening.get(unit, ScopeNumbers())),
                ("closing", closing.get(unit, ScopeNumbers())),
            )
        ]
        shown = f"This report shows {'both' if scope is Scope.ALL else f'“{scope.value}”'}."
        lines.append((f"scopes, {unit}", f"{'; '.join(ends)}. {shown}"))
    return lines


def _sum(numbers: ScopeNumbers) -> str:
    words = f"{numbers.here:,} here + {numbers.elsewhere:,} ours elsewhere"
    if numbers.others_elsewhere:
        words += f" + {numbers.others_elsewhere:,} of others elsewhere"
    words += f" = {numbers.all:,} in all"
    return f"{words} ({numbers.ours:,} ours: of those here {numbers.lent_to_us:,} belong to others)"
