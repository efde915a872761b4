"""How many died, were found and went missing without a story, by lot, place and quarter.

Works backwards: the balances at the start of the running quarter are given, so are the written
events and the house's totals of each quarter; what is left of the totals is shared out by the
death rates, and the opening stock follows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from random import Random

from inventory.book.rules.kinds import EventKind

from .effects import IN_KINDS, OUT_KINDS, Effect, between, net_by_line
from .fixtures import ANIMAL, Background, DemoLot, Quarter

Line = tuple[str, str]
JELLY = ("aurelia-aurita", "E10")
# A shared-out loss never takes more than this part of what a lot holds in a quarter.
MOST_OF_A_LOT = 0.2
# Gains and losses found by counting come in the larger groups, a few at a time.
COUNTED_GROUP = 20
MOST_AT_ONCE = 3


@dataclass(frozen=True, slots=True)
class Ground:
    """What the background is laid on: written events, lots by key, rates, and the dice."""

    effects: Sequence[Effect]
    lots: Mapping[str, DemoLot]
    background: Background
    rng: Random


@dataclass(frozen=True, slots=True)
class QuarterPlan:
    """What befalls each line in a quarter beside the written events, and what it opens with."""

    quarter: Quarter
    opening: Mapping[Line, int]
    died: Mapping[Line, int]
    found: Mapping[Line, int]
    unaccounted: Mapping[Line, int]


def bounds(quarter: Quarter) -> tuple[datetime, datetime]:
    """The quarter's first moment and the first moment after it, local."""
    return (
        datetime.combine(quarter.starts, time()),
        datetime.combine(quarter.ends + timedelta(days=1), time()),
    )


def plan_backwards(
    quarters: Sequence[Quarter], closing: Mapping[Line, int], ground: Ground
) -> list[QuarterPlan]:
    """Plans of the closed ``quarters``, oldest first; ``closing`` is that of the last one.

    Raises :class:`ValueError` when the written events do not fit the totals.
    """
    plans: list[QuarterPlan] = []
    held = dict(closing)
    for quarter in reversed(quarters):
        plan = _plan(quarter, held, ground)
        plans.append(plan)
        held = dict(plan.opening)
    return plans[::-1]


def _plan(quarter: Quarter, closing: Mapping[Line, int], ground: Ground) -> QuarterPlan:
    lots, rng = ground.lots, ground.rng
    inside = between(ground.effects, *bounds(quarter))
    written = net_by_line(inside)
    animals = [effect for effect in inside if lots[effect.lot].unit == ANIMAL]
    came = sum(effect.n for effect in animals if effect.kind in IN_KINDS)
    if came != quarter.in_:
        raise ValueError(f"{quarter.code}: {came} animals come in, the table says {quarter.in_}")
    left = -sum(effect.n for effect in animals if effect.kind in OUT_KINDS)
    lost = -sum(effect.n for effect in animals if effect.kind == EventKind.UNACCOUNTED)
    # Those who are there all the quarter: neither just arrived nor on their way out.
    there = {
        line: n - max(0, written.get(line, 0)) for line, n in closing.items() if lots[line[0]].background
    }
    there = {line: n for line, n in there.items() if n > 0}
    weights = {
        line: n * ground.background.per_cent_a_month[lots[line[0]].background] for line, n in there.items()
    }
    caps = {line: max(1, int(n * MOST_OF_A_LOT)) for line, n in there.items()}
    died = _share(quarter.all_out - left - quarter.moon_jelly_deaths, weights, caps, rng)
    groups = {line: float(n) for line, n in there.items() if n >= COUNTED_GROUP}
    few = dict.fromkeys(groups, MOST_AT_ONCE)
    found = _share(quarter.found, groups, few, rng)
    losers = {line: n for line, n in groups.items() if line not in found}
    unaccounted = _share(quarter.unaccounted - lost, losers, dict.fromkeys(losers, MOST_AT_ONCE), rng)
    died[JELLY] = quarter.moon_jelly_deaths
    opening = {}
    for line in dict.fromkeys((*closing, *written)):
        opening[line] = (
            closing.get(line, 0)
            - written.get(line, 0)
            + died.get(line, 0)
            - found.get(line, 0)
            + unaccounted.get(line, 0)
        )
        if opening[line] < 0:
            raise ValueError(f"{quarter.code}: {line} would open with {opening[line]}")
    return QuarterPlan(quarter, opening, died, found, unaccounted)


def _share(
    total: int, weights: Mapping[Line, float], caps: Mapping[Line, int], rng: Random
) -> dict[Line, int]:
    """``total`` shared out one by one, by weight, none above its cap."""
    if not 0 <= total <= sum(caps.values()):
        raise ValueError(f"{total} cannot be shared out among {len(weights)} lots")
    shares: dict[Line, int] = {}
    open_to = dict(weights)
    for _ in range(total):
        line = rng.choices(list(open_to), list(open_to.values()))[0]
        shares[line] = shares.get(line, 0) + 1
        if shares[line] == caps[line]:
            del open_to[line]
    return shares
