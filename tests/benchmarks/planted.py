"""A generated house whose differences have known causes.

How it is planted decides what can be found again, so it is all said here.

* Places stand in systems of five; one in twenty is a quarantine. A keeper looks after two systems.
* A kind is held in one place (half of them), or in two to eight. A tenth of the kinds belong to pairs of
  look-alikes that share a place.
* Moves of two years run by ways that are used: out of quarantine, and inside a system; each way has its
  own weight (a few are used often, most seldom).
* The causes: unrecorded moves, look-alikes taken for each other, losses and gains nobody can explain,
  entries made twice, divisions, late deaths. Sizes are geometric; a fourth of the moves take all there is.
* An unrecorded move follows a used way among the places of its kind with the chance ``follows``; else it
  goes to a tank of the same keeper (half), or anywhere that holds the kind.
* A move from a shoal (class C) takes a fifth of it on average; a smaller one would drown in the error.
* Class C lines are counted with a normal error of a twentieth; the others are counted twice, and right.
* What a census can see is what is left of all moves between two lines: two on one way are one of their
  sum, there and back is the difference. The truth is told so (``netted``).
* ``crowd``: on what share of the kinds the causes fall; the smaller, the more of them overlap.
"""

import math
import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from census.differences.rules.causes import Cause, History
from census.differences.rules.facts import HouseFacts, Line, Passage

COUNTED = datetime(2026, 9, 29, 10, tzinfo=UTC)
# Of a hundred causes so many are of each kind; a quarter's differences as one might find them.
MIX = {"move": 40, "swap": 4, "loss": 24, "gain": 6, "double": 8, "divided": 8, "death": 10}


@dataclass(frozen=True, slots=True)
class Size:
    places: int = 500
    taxa: int = 3_000
    differences: int = 1_500


@dataclass(frozen=True, slots=True)
class Noise:
    """``known``: the house knows its routes and keepers. ``settled_before``: it has settled a census of the
    same kind, so that its own shares of causes stand in place of the table's."""

    name: str
    crowd: float
    follows: float
    known: bool = True
    settled_before: bool = True


LEVELS = (
    Noise("apart: at most one cause on a kind", 1.0, 0.8),
    Noise("usual: anywhere, ways used in 80 of 100 moves", 1.0, 0.8),
    Noise("usual, ways used in 50 of 100", 1.0, 0.5),
    Noise("usual, no census settled before", 1.0, 0.8, settled_before=False),
    Noise("usual, and nothing known of ways and keepers", 1.0, 0.8, known=False, settled_before=False),
    Noise("crowded: all on a third of the kinds", 0.33, 0.8),
    Noise("crowded: all on a sixth of the kinds", 0.17, 0.8),
    Noise("crowded on a sixth, nothing known", 0.17, 0.8, known=False, settled_before=False),
)


@dataclass(frozen=True, slots=True)
class Planted:
    """What was done: ``n`` of ``loses`` went to, or were counted as, ``gains``."""

    cause: str
    loses: str
    gains: str
    n: int


@dataclass(slots=True)
class House:
    lines: list[Line]
    facts: HouseFacts
    truth: list[Planted]


@dataclass(slots=True)
class _Making:
    size: Size
    noise: Noise
    draw: random.Random
    lines: dict[str, Line] = field(default_factory=dict)
    of_taxon: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    change: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    passages: dict[str, list[Passage]] = field(default_factory=lambda: defaultdict(list))
    truth: list[Planted] = field(default_factory=list)
    pairs: list[tuple[str, str]] = field(default_factory=list)


def planted_house(size: Size, noise: Noise, seed: int) -> House:
    """The house of this size, noise and seed; the same again each time."""
    making = _Making(size, noise, random.Random(seed))
    places = [f"P{k:03}" for k in range(size.places)]
    keepers = {place: frozenset({f"keeper {k // 10}"}) for k, place in enumerate(places)}
    routes = _routes(making, places)
    _hold(making, places, routes)
    _plant(making, routes, keepers)
    facts = HouseFacts(now=COUNTED + timedelta(days=7))
    if noise.known:
        facts = replace(facts, routes=routes, keepers=keepers)
    if noise.settled_before:
        before = planted_house(size, replace(noise, settled_before=False), seed + 1000)
        facts = replace(facts, history=_settled(before.truth))
    return House(_counted(making), facts, netted(making.truth))


def _settled(truth: list[Planted]) -> History:
    """The shares of a census that was settled as it was planted: lines by cause, two of a pair."""
    lines: dict[str, set[str]] = defaultdict(set)
    for one in truth:
        lines[one.cause] |= {key for key in (one.loses, one.gains) if key}
    of_cause = {
        "move": Cause.MOVE,
        "loss": Cause.LOSS,
        "gain": Cause.GAIN,
        "death": Cause.LATE_DEATH,
    }
    accepted = {cause: len(lines[name]) for name, cause in of_cause.items()}
    return History(lines=len(set().union(*lines.values())), accepted=accepted)


def netted(truth: list[Planted]) -> list[Planted]:
    """One planted cause for each pair of lines and kind of cause, with what it comes to."""
    sums: dict[tuple[str, str, str], int] = defaultdict(int)
    for one in truth:
        if one.loses and one.gains > one.loses:
            sums[one.cause, one.loses, one.gains] += one.n
        elif one.loses and one.gains:
            sums[one.cause, one.gains, one.loses] -= one.n
    found = [Planted(cause, *((a, b) if n > 0 else (b, a)), abs(n)) for (cause, a, b), n in sums.items() if n]
    return found + [one for one in truth if one.cause not in ("move", "swap")]


def _routes(making: _Making, places: list[str]) -> dict[tuple[str, str], int]:
    """How often each way was gone in two years."""
    draw, routes = making.draw, {}
    for k, place in enumerate(places):
        system = [p for p in places[k - k % 5 : k - k % 5 + 5] if p != place]
        if k % 20 == 0:
            system += draw.sample(places, min(25, len(places) - 1))
        for other in system:
            n = int(draw.paretovariate(1.1)) - 1
            if n and other != place:
                routes[place, other] = min(n, 40)
    return routes


def _hold(making: _Making, places: list[str], routes: dict[tuple[str, str], int]) -> None:
    """Kinds in their places. Where a kind is held in several, half of them lie on ways that are gone."""
    draw = making.draw
    ways: dict[str, list[str]] = defaultdict(list)
    for start, end in routes:
        ways[start].append(end)
    for k in range(making.size.taxa):
        taxon, many = f"Genus{k:04} species", draw.choices([1, 2, 3, 4, 6, 8], [50, 20, 12, 8, 6, 4])[0]
        there = [draw.choice(places)]
        while len(there) < many:
            near = [p for p in ways[draw.choice(there)] if p not in there]
            there.append(draw.choice(near) if near and draw.random() < 0.5 else draw.choice(places))
            there = list(dict.fromkeys(there))
        count_class = draw.choices(["A", "B", "C"], [12, 63, 25])[0]
        alike = f"set {k // 2}" if k % 20 < 2 else ""
        if alike and k % 2:
            there[0] = making.lines[making.of_taxon[f"Genus{k - 1:04} species"][0]].place
            there = list(dict.fromkeys(there))
            count_class = making.lines[making.of_taxon[f"Genus{k - 1:04} species"][0]].count_class
        for place in there:
            _line(making, taxon, place, count_class, alike, k)
        if alike and k % 2:
            making.pairs.append((making.of_taxon[f"Genus{k - 1:04} species"][0], making.of_taxon[taxon][0]))


def _line(making: _Making, taxon: str, place: str, count_class: str, alike: str, k: int) -> None:
    mean = {"A": 4, "B": 14, "C": 120}[count_class]
    book = 2 + min(int(making.draw.expovariate(1 / mean)), 8 * mean)
    key = f"{place} {taxon}"
    making.of_taxon[taxon].append(key)
    making.lines[key] = Line(
        key, place, taxon, "animal", book, book, count_class,
        confirmed=True, look_alike_set=alike, can_divide=k % 25 == 7, lots=(taxon,), moment=COUNTED,
        typed_at=COUNTED,
    )  # fmt: skip


def _plant(making: _Making, routes: dict[tuple[str, str], int], keepers: dict[str, frozenset[str]]) -> None:
    """Causes one after the other until as many lines differ, or as many causes are planted, as are wanted."""
    draw, apart = making.draw, making.noise.name.startswith("apart")
    taxa = list(making.of_taxon)
    chosen = draw.sample(taxa, int(len(taxa) * making.noise.crowd))
    several = [taxon for taxon in chosen if len(making.of_taxon[taxon]) > 1]
    dividing = [taxon for taxon in chosen if making.lines[making.of_taxon[taxon][0]].can_divide]
    alike = [pair for pair in making.pairs if making.lines[pair[0]].taxon in set(chosen)]
    used: set[str] = set()
    tries = 0
    while (
        sum(1 for n in making.change.values() if n) < making.size.differences
        and tries < making.size.differences
    ):
        tries += 1
        cause = draw.choices(list(MIX), list(MIX.values()))[0]
        if cause == "move":
            taxon = draw.choice(several)
        elif cause == "swap":
            if not alike:
                continue
            taxon = making.lines[draw.choice(alike)[0]].taxon
        else:
            taxon = draw.choice(dividing if cause == "divided" and dividing else chosen)
        kinds = {taxon}
        if cause == "swap":
            pair = next(pair for pair in alike if making.lines[pair[0]].taxon == taxon)
            kinds |= {making.lines[key].taxon for key in pair}
        if apart and kinds & used:
            continue
        used |= kinds
        if cause == "move":
            _move(making, taxon, routes, keepers)
        elif cause == "swap":
            _swap(making, pair)
        else:
            _alone(making, cause, draw.choice(making.of_taxon[taxon]))


def _move(
    making: _Making,
    taxon: str,
    routes: dict[tuple[str, str], int],
    keepers: dict[str, frozenset[str]],
) -> None:
    draw, keys = making.draw, making.of_taxon[taxon]
    ways = [
        (a, b, routes[making.lines[a].place, making.lines[b].place])
        for a in keys
        for b in keys
        if (making.lines[a].place, making.lines[b].place) in routes
    ]
    if ways and draw.random() < making.noise.follows:
        start, end, _ = draw.choices(ways, [n for _, _, n in ways])[0]
    else:
        start = draw.choice(keys)
        others = [key for key in keys if key != start]
        same = [b for b in others if keepers[making.lines[b].place] & keepers[making.lines[start].place]]
        end = draw.choice(same if same and draw.random() < 0.5 else others)
    left = making.lines[start].book + making.change[start]
    mean = max(5, making.lines[start].book // 5) if making.lines[start].count_class == "C" else 5
    n = left if draw.random() < 0.25 else min(_geometric(draw, mean), left)
    if n < 1:
        return
    making.change[start] -= n
    making.change[end] += n
    making.truth.append(Planted("move", start, end, n))


def _swap(making: _Making, pair: tuple[str, str]) -> None:
    start, end = making.draw.sample(pair, 2)
    n = min(_geometric(making.draw, 3), making.lines[start].book + making.change[start])
    if n >= 1:
        making.change[start] -= n
        making.change[end] += n
        making.truth.append(Planted("swap", start, end, n))


def _alone(making: _Making, cause: str, key: str) -> None:
    draw, line = making.draw, making.lines[key]
    n = _geometric(draw, {"loss": 2, "gain": 2, "double": 3, "divided": 12, "death": 2}[cause])
    if cause in ("loss", "death"):
        n = min(n, line.book + making.change[key])
    if n < 1:
        return
    making.change[key] += -n if cause in ("loss", "death") else n
    if cause == "double":
        making.passages[key] += _twice(n, len(making.passages[key]))
    loses, gains = (key, "") if cause in ("loss", "death") else ("", key)
    making.truth.append(Planted(cause, loses, gains, n))


def _twice(n: int, number: int) -> Iterator[Passage]:
    """One death that was sent twice: the book has ``n`` fewer than the tank."""
    at = COUNTED - timedelta(days=11 + number, hours=3)
    for apart in (0, 40):
        yield Passage(
            1, "died", -n, at, at + timedelta(seconds=apart), "somebody", f"{n} died", f"{number}/{apart}"
        )


def _geometric(draw: random.Random, mean: float) -> int:
    return 1 + int(math.log(1 - draw.random()) / math.log(1 - 1 / mean))


def _counted(making: _Making) -> list[Line]:
    """The lines as they were counted; class C with the error of an estimate."""
    lines = []
    for key, line in making.lines.items():
        count = line.book + making.change[key]
        tolerance = 0
        if line.count_class == "C":
            tolerance = max(2, line.book // 10)
            if making.change[key] or making.draw.random() < 0.5:
                count = max(round(making.draw.gauss(count, max(count, 1) / 20)), 0)
        inside = abs(count - line.book) <= tolerance
        lines.append(
            replace(
                line, count=count, tolerance=tolerance, inside=inside, passages=tuple(making.passages[key])
            )
        )
    return lines
