"""What is to be settled though the number agrees: a sex, an animal taken for another, a letter."""

from collections.abc import Iterator

from .causes import Cause
from .facts import HouseFacts, Line
from .possible import Hints, Possible, possible

_SEXES = ("male", "female", "hermaphrodite", "unknown")


def agreeing(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """Of a line without a difference; these stand beside the model, for there is nothing to add up."""
    if line.written_in and line.count is None and line.letter:
        yield possible(
            Cause.SETTLED,
            house,
            f"presence only, letter {line.letter}"
            + (": raw sea water runs through here" if line.open_water else ""),
            gains=line,
            most=1,
            hints=Hints(reason="settled from sea water"),
        )
        return
    if line.difference or line.count is None or not line.open:
        return
    yield from _regrouped(line, house)
    yield from _swapped(line, house)


def _regrouped(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """Sexes that differ while the total agrees: from the one that is short to the one that is over."""
    if not line.can_change_sex or not line.counted_sexes or not line.book_sexes or line.individuals:
        return
    short = {s: b - c for s, c, b in zip(_SEXES, line.counted_sexes, line.book_sexes, strict=True) if b > c}
    over = {s: c - b for s, c, b in zip(_SEXES, line.counted_sexes, line.book_sexes, strict=True) if c > b}
    for to_sex, wanted in over.items():
        rest = wanted
        for from_sex, had in list(short.items()):
            n = min(rest, had)
            if not n:
                continue
            rest -= n
            short[from_sex] = had - n
            counted, book = (".".join(map(str, sexes)) for sexes in (line.counted_sexes, line.book_sexes))
            yield possible(
                Cause.SEX_CHANGE,
                house,
                f"counted {counted} (m.f.h.u), the book has {book}: {n} from {from_sex} to {to_sex}",
                gains=line,
                most=n,
                name=f"{from_sex} to {to_sex}",
                hints=Hints(from_sex=from_sex, to_sex=to_sex, reason="sex change"),
            )


def _swapped(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """The number is right, a known animal was not seen: then another one of its kind is there."""
    for absent in line.not_seen:
        for stranger in line.strangers:
            yield possible(
                Cause.SWAPPED,
                house,
                f"{absent.name} was not seen and the number is right: is it {stranger.name}?",
                stranger.words,
                line.remark,
                gains=line,
                most=1,
                name=f"{absent.accession} {stranger.accession}",
                hints=Hints(
                    accessions=(absent.accession,), to_accession=stranger.accession, reason="wrong lot"
                ),
            )
