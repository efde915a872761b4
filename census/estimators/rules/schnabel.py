"""Marked animals over several catches, each marking what it lets go: Schnabel, and Schumacher-Eschmeyer."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

from scipy.special import stdtrit

from .estimate import TAIL, Estimate, few_recaptures, need, need_none_below_zero, shaky
from .likelihood import NO_LIMIT, interval_of_marked
from .marked import ASSUMPTIONS
from .rates import garwood


class SchnabelForm(StrEnum):
    """Which sum of the catches is divided by which."""

    CHAPMAN = "chapman"
    PLAIN = "plain"
    SCHUMACHER = "schumacher"


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums over the catches: C caught, R recaptured, M marked animals at large before the catch."""

    catches: int
    drawn: tuple[tuple[int, int, int], ...]
    """(M, C, R) of each catch with marked animals at large."""
    seen: int
    recaptured: int
    caught_marked: int
    caught_marked_squared: int
    recaptured_marked: int
    recaptured_squared_by_caught: float


def schnabel(
    caught: Sequence[int],
    recaptured: Sequence[int],
    returned: Sequence[int] | None = None,
    form: SchnabelForm = SchnabelForm.CHAPMAN,
) -> Estimate:
    """Several catches, one number in each list a catch: animals caught, those of them with a mark, and those
    let go with a mark (all, unless `returned` says less).

    `chapman` (default): sum(C M) / (sum(R) + 1), interval by the hypergeometric likelihood of the catches.
    `plain` is Schnabel's own, divided by sum(R), with the handbooks' interval sum(C M) / Garwood(sum R): an
    exact Poisson one, which is wider than 95 % where catches take a good part of the animals. `schumacher`:
    sum(C M ** 2) / sum(R M), interval t on 1 / N with two degrees of freedom less than catches; its scatter
    is meant to be the same in all catches, and where marks grow from nothing the interval covers 90 to 93 %.
    Forms in Krebs 1989, 2.2, and Ricker 1975, 3.6; coverage by `tests/benchmarks/bench_estimators.py`.
    """
    sums = sums_of(caught, recaptured, caught if returned is None else returned)
    need(
        sums.recaptured > 0,
        "No marked animal was seen again in any catch: nothing tells how many there are.",
    )
    found = _FORMS[form](sums)
    return Estimate(
        estimate=max(found.estimate, sums.seen),
        low=max(found.low, sums.seen),
        high=None if found.high is None else max(found.high, sums.seen),
        se=found.se,
        method=found.method,
        assumptions=ASSUMPTIONS,
        warnings=(*found.warnings, *few_recaptures(sums.recaptured), *_below_seen(found.estimate, sums.seen)),
    )


def sums_of(caught: Sequence[int], recaptured: Sequence[int], returned: Sequence[int]) -> Sums:
    """The sums that the forms divide; marks at large grow by what is returned less those marked before."""
    need(
        len(caught) == len(recaptured) == len(returned),
        f"The lists must have one number a catch: caught has {len(caught)}, recaptured {len(recaptured)}, "
        f"returned {len(returned)}.",
    )
    need(len(caught) > 1, "One catch can only mark: at least two are needed.")
    need_none_below_zero("caught, recaptured and returned", [*caught, *recaptured, *returned])
    marked = []
    at_large = 0
    for number, (c, r, back) in enumerate(zip(caught, recaptured, returned, strict=True), start=1):
        need(r <= c, f"Catch {number} has more marked animals ({r}) than animals ({c}).")
        need(r <= at_large, f"Catch {number} has {r} marked animals, but only {at_large} were at large.")
        need(back <= c, f"After catch {number} more animals were returned ({back}) than caught ({c}).")
        marked.append(at_large)
        at_large += back - r
    rows = list(zip(caught, recaptured, marked, strict=True))
    return Sums(
        catches=len(rows),
        drawn=tuple((m, c, r) for c, r, m in rows if m),
        seen=sum(c - r for c, r, _ in rows),
        recaptured=sum(recaptured),
        caught_marked=sum(c * m for c, _, m in rows),
        caught_marked_squared=sum(c * m * m for c, _, m in rows),
        recaptured_marked=sum(r * m for _, r, m in rows),
        recaptured_squared_by_caught=sum(r * r / c for c, r, _ in rows if c),
    )


def _chapman(sums: Sums) -> Estimate:
    estimate = sums.caught_marked / (sums.recaptured + 1)
    low, high = interval_of_marked(sums.drawn, sums.seen)
    se = _schnabel_se(sums, estimate)
    return Estimate(
        estimate=estimate,
        low=min(low, estimate),
        high=None if high is None else max(high, estimate),
        se=se,
        method="Schnabel, Chapman form, likelihood-ratio interval",
        warnings=(*(NO_LIMIT if high is None else ()), *shaky(estimate, se)),
    )


def _plain(sums: Sums) -> Estimate:
    estimate = sums.caught_marked / sums.recaptured
    fewest, most = garwood(sums.recaptured)
    se = _schnabel_se(sums, estimate)
    return Estimate(
        estimate=estimate,
        low=sums.caught_marked / most,
        high=sums.caught_marked / fewest,
        se=se,
        method="Schnabel, exact Poisson interval (Garwood) on recaptures",
        warnings=shaky(estimate, se),
    )


def _schnabel_se(sums: Sums, estimate: float) -> float:
    """By the delta method on the Poisson number of recaptures."""
    return estimate**2 * sqrt(sums.recaptured) / sums.caught_marked


def _schumacher(sums: Sums) -> Estimate:
    need(sums.catches > 2, "Schumacher-Eschmeyer needs three catches or more.")
    inverse = sums.recaptured_marked / sums.caught_marked_squared
    residual = sums.recaptured_squared_by_caught - sums.recaptured_marked**2 / sums.caught_marked_squared
    degrees = sums.catches - 2
    # The residual is a sum of squares; rounding may leave it a hair below zero.
    se_inverse = sqrt(max(residual, 0.0) / degrees / sums.caught_marked_squared)
    half = float(stdtrit(degrees, 1 - TAIL)) * se_inverse
    estimate, se = 1 / inverse, se_inverse / inverse**2
    unlimited = half >= inverse
    return Estimate(
        estimate=estimate,
        low=1 / (inverse + half),
        high=None if unlimited else 1 / (inverse - half),
        se=se,
        method=f"Schumacher-Eschmeyer, t interval on 1/N with {degrees} degrees of freedom",
        warnings=(
            *(("The catches disagree so much that there is no upper limit.",) if unlimited else ()),
            *shaky(estimate, se),
        ),
    )


def _below_seen(estimate: float, seen: int) -> tuple[str, ...]:
    if estimate >= seen:
        return ()
    return (
        f"The formula gives {estimate:.1f}, fewer than the {seen} different animals that were seen; what was "
        "seen is given. An assumption does not hold, or the catches took nearly all.",
    )


_FORMS: dict[SchnabelForm, Callable[[Sums], Estimate]] = {
    SchnabelForm.CHAPMAN: _chapman,
    SchnabelForm.PLAIN: _plain,
    SchnabelForm.SCHUMACHER: _schumacher,
}
