"""How good the counts of a row are: who counted together, how many passes stand behind a number."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from ..rules.passes import stated
from ..rules.settings import CensusSettings
from .reading import LineRead, Row

PASSES = ("", "count", "estimate")


def quality(row: Row, settings: CensusSettings) -> list[str]:
    """What is to be known of the row's counts, in sentences; none where nothing is."""
    told = [words for part in row.parts if (words := pair_apart(part, settings))]
    return [*told, *(words for part in row.parts if (words := few_passes(part, settings)))]


def of_lower_quality(rows: Iterable[Row], settings: CensusSettings) -> Mapping[int, list[str]]:
    """The rows of which there is something to say, by the id of their first line."""
    told = ((row.line.pk, quality(row, settings)) for row in rows)
    return {pk: words for pk, words in told if words}


def pair_apart(part: LineRead, settings: CensusSettings) -> str:
    """Two counters of class A who did not count at the same moment: what the one saw may have been fed,
    moved or hidden when the other looked. A recount that was asked for is no pair.
    """
    one, other = part.counts.get(1), part.counts.get(2)
    if part.line.count_class != "A" or one is None or other is None:
        return ""
    if any(recount.round == 2 for recount in part.recounts):
        return ""
    minutes = _minutes(one.counted_at, other.counted_at)
    if minutes <= settings.pair_apart_minutes:
        return ""
    return f"{part.line}: the two of class A counted {minutes} minutes apart, not at the same moment"


def few_passes(part: LineRead, settings: CensusSettings) -> str:
    """A number of class C made of fewer passes than asked for is an estimate of lower quality.

    A minimum is no estimate, and other methods than passes say themselves how sure they are.
    """
    count = part.latest
    if part.line.count_class != "C" or count is None or count.value is None or count.at_least:
        return ""
    n = stated(count.passes, count.method)
    if n is None and count.method.partition(":")[0].strip() not in PASSES:
        return ""
    wanted = settings.passes_min_class_c
    if n is not None and n >= wanted:
        return ""
    had = "it is not said of how many passes" if n is None else f"{n} {'pass' if n == 1 else 'passes'}"
    return f"{part.line}: {had}, {wanted} are asked for; an estimate of lower quality"


def _minutes(one: datetime, other: datetime) -> int:
    return int(abs((one - other).total_seconds()) // 60)
