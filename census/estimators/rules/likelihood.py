"""Where a likelihood of a number of animals is greatest, and which numbers it does not reject."""

from collections.abc import Callable, Sequence

from scipy.optimize import brentq, minimize_scalar
from scipy.special import chdtri, gammaln

from .estimate import TAIL

LogLikelihood = Callable[[float], float]

FAR = 1e6
"""So many times what was seen is as good as no limit; the likelihood is flat there."""

NO_LIMIT = ("The likelihood hardly falls above the estimate: there is no upper limit. Count on.",)


def best_number(log_likelihood: LogLikelihood, least: float) -> float:
    """The number from ``least`` on with the greatest likelihood, which rises to it and falls after it."""
    last = _past_the_top(log_likelihood, least)
    found = minimize_scalar(
        lambda n: -log_likelihood(n), bounds=(least, last), method="bounded", options={"xatol": 1e-7 * last}
    )
    at_start = log_likelihood(least) >= -float(found.fun)
    return float(least) if at_start else float(found.x)


def _past_the_top(log_likelihood: LogLikelihood, least: float) -> float:
    """A number of animals beyond the maximum, found by doubling."""
    here, step = float(least), 1.0
    while log_likelihood(here + step) > log_likelihood(here) and step < FAR * (least + 1):
        here, step = here + step, step * 2
    return here + step


def not_rejected(log_likelihood: LogLikelihood, least: float, best: float) -> tuple[float, float | None]:
    """95 % interval: where the log-likelihood lies half a chi-square (one degree of freedom) below its
    maximum, each number at what else suits it best (Venzon and Moolgavkar 1988; for numbers of animals
    Cormack 1992, Biometrics 48:567-576, and Evans, Kim and O'Brien 1996, from memory). No upper end when the
    likelihood never falls so far."""
    bar = log_likelihood(best) - float(chdtri(1, 2 * TAIL)) / 2

    def above(n: float) -> float:
        return log_likelihood(n) - bar

    low = float(least)
    if above(low) < 0:
        low = float(brentq(above, low, best))
    far = best + 1.0
    while above(far) > 0:
        if far > FAR * (least + 1):
            return low, None
        far = best + 2 * (far - best)
    return low, float(brentq(above, best, far))


def interval_of_marked(catches: Sequence[tuple[int, int, int]], seen: int) -> tuple[float, float | None]:
    """Likelihood-ratio 95 % interval of the number of animals, from catches as (marked at large, caught,
    recaptured) and how many different animals were ``seen``.

    Each catch is a draw without replacement: the hypergeometric likelihood, in which the number is the only
    unknown, so that no chance of capture has to be guessed (Chapman 1951; Darroch 1958 for several catches).
    Two independent observers are the same case: the second's animals, drawn where the first's are marked.
    """

    def log_likelihood(n: float) -> float:
        return sum(
            float(gammaln(n - m + 1) - gammaln(n - m - c + r + 1) + gammaln(n - c + 1) - gammaln(n + 1))
            for m, c, r in catches
        )

    return not_rejected(log_likelihood, seen, best_number(log_likelihood, seen))
