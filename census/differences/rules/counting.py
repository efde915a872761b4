"""Causes that lie in the count and not in the tank."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence

from .causes import NAT, Cause
from .facts import HouseFacts, Line
from .model import Candidate
from .possible import Possible, possible

# A count this many times the book is far above it.
FAR = 2


def counting(line: Line, beside: Sequence[Line], house: HouseFacts) -> Iterator[Possible]:
    """``beside``: the lines of the same place."""
    yield from _minimum(line, house)
    yield from _noise(line)
    yield from _units(line, beside, house)
    if not line.confirmed and not line.written_in and not line.off_site:
        yield from _count_again(line, beside, house)


def _minimum(line: Line, house: HouseFacts) -> Iterator[Possible]:
    if line.at_least and line.difference < 0:
        yield possible(
            Cause.MINIMUM,
            house,
            f"at least {line.count} seen: no proof of a loss; drain, or count at night",
            loses=line,
            most=-line.difference,
            mean=max(20, -line.difference),
        )


def _noise(line: Line) -> Iterator[Possible]:
    """The error of an estimate, and of a single count inside its tolerance: cheap, then dearer.

    The tolerance, or the range of the count's own passes, is taken as two standard deviations of a
    normal error; its cost, half the square, is drawn as two straight pieces.
    """
    spread = _spread(line)
    if spread < 1:
        return
    first = max(math.ceil(spread / 2), 1)
    for piece, most, slope in (("near", first, 0.5), ("far", spread - first, 1.5)):
        if most < 1:
            continue
        for way in ("up", "down"):
            gains, loses = (line.key, "") if way == "up" else ("", line.key)
            # Two counts that agree are twice as sure as one.
            each = round(NAT * slope / first) * (2 if line.confirmed else 1)
            key = f"estimate / {line.key} / {piece} {way}"
            candidate = Candidate(key, gains, loses, fixed=0, each=each, most=most, noise=True)
            yield Possible(candidate, Cause.ESTIMATE, (f"{abs(line.difference)} lie inside the error",))


def _spread(line: Line) -> int:
    """By how many a count can be wrong and still be as good as the method is."""
    if line.drift:
        return 0  # chance does not lie on one side three times running
    if line.count_class == "C" and not line.at_least:
        ranged = 0 if line.low is None or line.high is None else (line.high - line.low + 1) // 2
        return max(line.tolerance, ranged)
    return line.tolerance if not line.confirmed and line.inside else 0


def _units(line: Line, beside: Sequence[Line], house: HouseFacts) -> Iterator[Possible]:
    over = line.difference
    if over <= 0:
        return
    for other in beside:
        if other.taxon == line.taxon and other.unit != line.unit and other.count == over:
            yield possible(
                Cause.UNIT,
                house,
                f"{other.key} counts {other.count} {other.unit}s here: were they added in? Ask a recount",
                gains=line,
                most=over,
                mean=max(20, over),
                name=other.key,
                recount=True,
            )
    if line.unit == "colony" and line.book > 0 and (line.count or 0) >= 3 * line.book:
        yield possible(
            Cause.UNIT,
            house,
            f"{line.count} for {line.book} colonies: were parts counted? Ask a recount",
            gains=line,
            most=over,
            mean=max(20, over),
            recount=True,
        )


def _count_again(line: Line, beside: Sequence[Line], house: HouseFacts) -> Iterator[Possible]:
    difference = line.difference
    turned = _digits_turned(line)
    if turned is not None:
        yield possible(
            Cause.TYPING,
            house,
            f"{line.count} typed, the book has {line.book}: with its digits turned it is {turned}. Type it "
            "again from the paper",
            on=line,
            most=abs(difference),
            mean=max(20, abs(difference)),
            recount=True,
        )
    if line.last:
        return
    words = [
        "one count only: another person counts again"
        if line.times < 2
        else f"{line.times} counts that do not agree: a third by somebody of experience, with the curator or "
        "the registrar, and by another method if there is one"
    ]
    share = 1.0
    if difference > 0 and line.windows > 1:
        words.insert(0, f"{line.windows} windows: were they added up? Both at one moment, the higher counts")
        share = 2.0
    elif difference > 0 and line.book > 0 and (line.count or 0) >= FAR * line.book:
        words.insert(0, "far above the book: were feed animals, young or parts counted? Count before feeding")
        share = 2.0
    pairs = [one for one in beside if "pair" in one.remark.lower() and one.count == line.count]
    if pairs:
        words.insert(0, f"{pairs[0].remark!r} on {pairs[0].key}: each kind is counted on its own line")
        share = 2.0
    yield possible(
        Cause.MISCOUNT,
        house,
        *words,
        on=line,
        most=abs(difference),
        share=share,
        mean=max(3, abs(difference) / 2, abs(line.book) / 10),
        recount=True,
    )


def _digits_turned(line: Line) -> int | None:
    """The count with two neighbouring digits changed, where that brings it near the book."""
    written = str(line.count)
    for k in range(len(written) - 1):
        if written[k] == written[k + 1]:
            continue
        turned = int(written[:k] + written[k + 1] + written[k] + written[k + 2 :])
        near = abs(turned - line.book) <= max(line.tolerance, 1)
        if near and abs(line.difference) > max(line.tolerance, 1):
            return turned
    return None


def by_place(lines: Sequence[Line]) -> dict[str, list[Line]]:
    """Lines by the place they are of."""
    found: dict[str, list[Line]] = defaultdict(list)
    for line in lines:
        found[line.place].append(line)
    return found
