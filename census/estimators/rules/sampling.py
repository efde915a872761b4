"""Sample squares: a part of the area is counted, the rest is expanded from it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, stdev

from scipy.special import stdtrit

from .estimate import TAIL, Estimate, need, need_none_below_zero, shaky

FEW_SQUARES = 5
"""With fewer squares the standard error itself is not known well (`common practice, no source`)."""

ASSUMPTIONS = (
    "The squares have equal size and were drawn at random, not put where the animals are.",
    "Every animal in a drawn square was seen.",
)


@dataclass(frozen=True, slots=True)
class Sample:
    """Squares drawn from an area or stratum: how many, their mean count and standard deviation (n - 1)."""

    squares: int
    mean: float
    deviation: float

    @property
    def seen(self) -> float:
        return self.squares * self.mean

    @classmethod
    def of(cls, counts: Sequence[float]) -> "Sample":
        """From the counts of the squares; at least two."""
        need_none_below_zero("counts", counts)
        need(len(counts) > 1, "One square shows no spread: draw at least two (in each stratum).")
        return cls(squares=len(counts), mean=fmean(counts), deviation=stdev(counts))


def squares(counts: Sequence[float], total_squares: int) -> Estimate:
    """Animals on an area of `total_squares` equal squares, of which those in `counts` were drawn."""
    return squares_from(Sample.of(counts), total_squares)


def squares_from(sample: Sample, total_squares: int) -> Estimate:
    """Expansion with finite population correction and t interval (Cochran 1977, 2.5 to 2.8)."""
    return _expand(
        [sample], [total_squares], "sample squares, finite population correction, t interval", ASSUMPTIONS
    )


def strata(counts: Sequence[Sequence[float]], total_squares: Sequence[int]) -> Estimate:
    """Strata (sand, rock, back wall), each with its own squares and its own total number of squares."""
    return strata_from([Sample.of(each) for each in counts], total_squares)


def strata_from(samples: Sequence[Sample], total_squares: Sequence[int]) -> Estimate:
    """Stratified expansion with finite population correction; t with Satterthwaite's degrees of freedom
    (Cochran 1977, 5.4 and eq. 5.16)."""
    need(
        len(samples) == len(total_squares),
        f"There are counts of {len(samples)} strata, but total squares of {len(total_squares)}.",
    )
    need(len(samples) > 0, "There is no stratum.")
    return _expand(
        samples,
        total_squares,
        "stratified sample squares, finite population correction, t interval (Satterthwaite)",
        (*ASSUMPTIONS, "The strata cover the whole area and do not overlap."),
    )


def _expand(
    samples: Sequence[Sample], totals: Sequence[int], method: str, assumptions: tuple[str, ...]
) -> Estimate:
    pairs = list(zip(samples, totals, strict=True))
    for sample, total in pairs:
        need(
            total >= sample.squares,
            f"{sample.squares} squares were counted, but the area has only {total}.",
        )
    variances = [
        total * (total - sample.squares) / sample.squares * sample.deviation**2 for sample, total in pairs
    ]
    estimate = sum(sample.mean * total for sample, total in pairs)
    se = sqrt(sum(variances))
    half = float(stdtrit(_degrees(samples, variances), 1 - TAIL)) * se
    return Estimate(
        estimate=estimate,
        low=max(min(sum(sample.seen for sample in samples), estimate), estimate - half),
        high=estimate + half,
        se=se,
        method=method,
        assumptions=assumptions,
        warnings=(*_about_squares(pairs, se), *shaky(estimate, se)),
    )


def _degrees(samples: Sequence[Sample], variances: Sequence[float]) -> float:
    """Satterthwaite's; for one sample this is n - 1."""
    if sum(variances) == 0:
        return sum(sample.squares - 1 for sample in samples)
    parts = sum(v**2 / (sample.squares - 1) for sample, v in zip(samples, variances, strict=True))
    return sum(variances) ** 2 / parts


def _about_squares(pairs: Sequence[tuple[Sample, int]], se: float) -> tuple[str, ...]:
    found = []
    fewest = min(sample.squares for sample, _ in pairs)
    sampled = any(sample.squares < total for sample, total in pairs)
    if sampled and fewest < FEW_SQUARES:
        found.append(f"{fewest} squares only (in a stratum): draw {FEW_SQUARES} or more.")
    if sampled and se == 0:
        found.append("All squares gave the same count: the interval cannot show how much others may differ.")
    return tuple(found)
