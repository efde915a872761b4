"""What a count sheet reminds its counters of. Nothing here knows a number of the book."""

from collections.abc import Iterable

ALWAYS = (
    "Count what is there, not what you expect. Blank means not counted; zero is written: 0.",
    "Count before feeding, and keep the quiet time: nothing moves in or out meanwhile.",
    'Animals that bury or hide: "at least 22". Not on the list: write it in at the end.',
)
LETTERS = "Class D: ring one letter, S superabundant, A abundant, C common, F frequent, O occasional, R rare."
MANY = "Class C: three passes or more, or as many pictures; write each, then the middle one as the result."
PAIRS = "Pairs: write the animals, not the pairs; a pair is two."
JOINED = "Joined tanks stand on this sheet together: count all of them in one session."
ROLL_CALL = "Known animals: tick each as seen, not seen, or not looked for."
EXACT = "Class A: two counters at the same moment, each writing for themselves."
RECOUNT = "A recount: only the lines asked for, by another person, without the first count."


def windows(n: int) -> str:
    """How a tank with several windows is counted."""
    return (
        f"This tank has {n} windows: count from all of them at one moment and take the higher number, "
        "never the sum."
    )


def hints(
    *,
    round_: int,
    windows_: int,
    joined: bool,
    classes: Iterable[str],
    units: Iterable[str],
    roll_call: bool,
) -> list[str]:
    """The sentences for one sheet, what is special about it first."""
    found = [RECOUNT] if round_ > 1 else []
    if windows_ > 1:
        found.append(windows(windows_))
    if joined:
        found.append(JOINED)
    kinds = frozenset(classes)
    if "A" in kinds and round_ == 1:
        found.append(EXACT)
    if roll_call:
        found.append(ROLL_CALL)
    if "C" in kinds:
        found.append(MANY)
    if "D" in kinds:
        found.append(LETTERS)
    if any("pair" in unit for unit in units):
        found.append(PAIRS)
    return [*found, *ALWAYS]
