"""Causes that join two lines: moves nobody entered, look-alikes, another name for the same animals."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import datetime

from .causes import Cause
from .facts import HouseFacts, Line
from .possible import Hints, Possible, possible, usual_size

# A line is offered so many partners at most, the likeliest ways first; more would only be noise.
PARTNERS = 12
# How much less likely look-alikes are where both lines differ the same way, for what befalls one kind in a
# tank may befall another too without any mistake of names; judgement (*common practice, no source*).
BOTH_ONE_WAY = 1 / 3


def pairs(lines: Sequence[Line], everywhere: Sequence[Line], house: HouseFacts) -> Iterator[Possible]:
    """Every pair of ``lines`` between which animals, or names, may have changed places.

    ``everywhere``: all lines, also those that agree; they say where else a kind is kept.
    """
    kept: dict[tuple[str, str], set[str]] = defaultdict(set)
    for line in everywhere:
        kept[line.taxon, line.unit].add(line.place)
    open_lines = [line for line in lines if line.open and line.count is not None]
    by_kind: dict[tuple[str, str], list[Line]] = defaultdict(list)
    by_look: dict[tuple[str, str, str], list[Line]] = defaultdict(list)
    by_place: dict[str, list[Line]] = defaultdict(list)
    for line in open_lines:
        # What others hold comes back as the end of a loan, which is another event than a move.
        if not line.written_in and not line.off_site:
            by_kind[line.taxon, line.unit].append(line)
            if line.look_alike_set:
                by_look[line.look_alike_set, line.place, line.unit].append(line)
        by_place[line.place].append(line)
    written = [line for line in open_lines if line.written_in and not line.off_site]
    for (name, unit), kind in by_kind.items():
        # Animals moved to a tank that did not hold their kind were written in there.
        here = [line for line in written if (line.taxon, line.unit) == (name, unit)]
        yield from _moves([*kind, *here], kept[name, unit], house)
    for alike in by_look.values():
        yield from _look_alikes(alike, house)
    for there in by_place.values():
        yield from _other_names(there, house)


def _opposite(lines: Iterable[Line]) -> tuple[list[Line], list[Line]]:
    short = [line for line in lines if line.difference < 0]
    return short, [line for line in lines if line.difference > 0]


def _most(loses: Line, gains: Line) -> int:
    return max(abs(loses.difference), abs(gains.difference))


def _moves(kind: Sequence[Line], kept: Collection[str], house: HouseFacts) -> Iterator[Possible]:
    short, over = _opposite(kind)
    for loses in short:
        ways = [(_way(loses.place, gains.place, kept, house), gains) for gains in over]
        ways.sort(key=lambda way: (-way[0], _unlike(loses, way[1]), way[1].key))
        for weight, gains in ways[:PARTNERS]:
            yield (
                _joined(loses, gains, house)
                if _is_joined(loses, gains)
                else _move(loses, gains, weight, house)
            )


def _unlike(loses: Line, gains: Line) -> int:
    return abs(loses.difference + gains.difference)


def _is_joined(loses: Line, gains: Line) -> bool:
    return bool(loses.joined) and loses.joined == gains.joined


def _joined(loses: Line, gains: Line, house: HouseFacts) -> Possible:
    words = f"{loses.place} and {gains.place} are joined: {gains.difference:+d} and {loses.difference:+d}"
    since, until = _between(loses, gains, house)
    return possible(
        Cause.JOINED,
        house,
        words,
        loses=loses,
        gains=gains,
        most=_most(loses, gains),
        hints=Hints(place=gains.place, since=since, until=until, reason="joined tanks"),
    )


def _way(start: str, end: str, kept: Collection[str], house: HouseFacts) -> float:
    """Share of the moves of a kind out of ``start`` that go to ``end``.

    By the ways of two years, among the places that keep the kind: a way counts as often as it was gone, and
    once more between tanks of one keeper, for nobody else need have known, a third between others. One
    share is left for places that do not keep the kind yet. Judgement (*common practice, no source*).
    """
    weights = {place: _weight(start, place, house) for place in kept if place != start}
    return weights.get(end, 1 / 3) / (sum(weights.values()) + 1)


def _weight(start: str, end: str, house: HouseFacts) -> float:
    kept_by = house.keepers.get
    same = kept_by(start, frozenset()) & kept_by(end, frozenset())
    return house.routes.get((start, end), 0) + (1 if same else 1 / 3)


def _same_keeper(loses: Line, gains: Line, house: HouseFacts) -> frozenset[str]:
    return house.keepers.get(loses.place, frozenset()) & house.keepers.get(gains.place, frozenset())


def _move(loses: Line, gains: Line, weight: float, house: HouseFacts) -> Possible:
    used = house.routes.get((loses.place, gains.place), 0)
    keepers = sorted(_same_keeper(loses, gains, house))
    size = "the same number" if loses.difference == -gains.difference else "not the same number"
    since, until = _between(loses, gains, house)
    # A move of all that a place held is as usual as one of a few.
    mean = max(usual_size(loses, 5), abs(loses.difference) if loses.count == 0 else 0)
    return possible(
        Cause.MOVE,
        house,
        f"{loses.key} ({loses.place}) has {loses.difference:+d}, {gains.key} ({gains.place}) "
        f"{gains.difference:+d}: {size}, and no move is entered",
        f"{_times(used)} moved from {loses.place} to {gains.place} in two years" if used else "",
        f"both kept by {', '.join(keepers)}" if keepers else "",
        loses=loses,
        gains=gains,
        most=_most(loses, gains),
        share=weight,
        mean=mean,
        hints=Hints(place=gains.place, since=since, until=until, reason="late move"),
    )


def _times(n: int) -> str:
    return "once" if n == 1 else "twice" if n == 2 else f"{n} times"


def _between(loses: Line, gains: Line, house: HouseFacts) -> tuple[datetime | None, datetime | None]:
    """From the last thing entered of the animals in either place to the earlier of the two counts."""
    moments = [line.moment for line in (loses, gains) if line.moment]
    until = min(moments, default=None)
    if until is None:
        return None, None
    # A death where the animals came from tells that they were there still; one where they are does not.
    known = [p.happened_at for p in loses.passages if p.happened_at < until]
    return house.span(max(known, default=None), until)


def _look_alikes(alike: Sequence[Line], house: HouseFacts) -> Iterator[Possible]:
    """Animals counted under the name of another kind, between any two lines of a set that differ.

    Where both lines are short, or both are over, another cause hides one end of it: animals counted under the
    other name, from which more were moved away, leave two lines that are short. What else is found in the
    house decides whether that is likelier than two causes that have nothing to do with each other.
    """
    for loses in alike:
        others = [line for line in alike if line.taxon != loses.taxon]
        over = [line for line in others if line.difference > 0]
        for gains in sorted(others, key=lambda line: (_unlike(loses, line), line.key))[:PARTNERS]:
            if loses.difference < 0 < gains.difference:
                yield _look_alike(loses, gains, 1 / len(over), house)
            elif loses.difference * gains.difference > 0:
                yield _look_alike(loses, gains, BOTH_ONE_WAY / len(others), house)


def _look_alike(loses: Line, gains: Line, share: float, house: HouseFacts) -> Possible:
    # Both ends are named: the same words stand on either line.
    words = (
        f"{loses.key}: {loses.taxon} has {loses.difference:+d}, and {gains.key}: {gains.taxon}, which looks "
        f"alike, {gains.difference:+d} in the same place"
    )
    if loses.difference * gains.difference > 0:
        words += "; something else is at work too. Settle this first"
    return possible(
        Cause.LOOK_ALIKE,
        house,
        words,
        loses=loses,
        gains=gains,
        most=_most(loses, gains),
        share=share,
        mean=max(3.0, abs(loses.book) / 10),
        hints=Hints(reason="look-alike"),
        recount=not (loses.confirmed and gains.confirmed),
    )


def _other_names(there: Sequence[Line], house: HouseFacts) -> Iterator[Possible]:
    """Something of the same genus written in beside a line that is short."""
    written = [line for line in there if line.written_in and line.difference > 0]
    for gains in written:
        genus = gains.taxon.split()[:1]
        for loses in there:
            if loses.written_in or loses.difference >= 0 or loses.taxon.split()[:1] != genus:
                continue
            yield possible(
                Cause.OTHER_NAME,
                house,
                f"{gains.key}: {gains.count} written in here as {gains.taxon!r}, of the same genus as "
                f"{loses.key}: look at the picture",
                loses=loses,
                gains=gains,
                most=min(-loses.difference, gains.difference),
            )
