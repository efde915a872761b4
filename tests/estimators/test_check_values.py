"""Published and recomputed answers, each with its source in `check_values.csv` beside this file.

`call` is what `estimate` takes, or `summary`: samples of squares by their mean and spread. GERKING is the
catches of Gerking 1953. `in_print` says whether the answer itself was seen in a source; "no" is recomputed
with what the source column names, or from memory where it says so.
"""

import csv
from collections.abc import Callable
from math import log, sqrt
from pathlib import Path
from typing import Any

import pytest

from census.estimators.rules.catches import catches_of
from census.estimators.rules.estimate import Estimate
from census.estimators.rules.methods import METHODS
from census.estimators.rules.observers import detection, swapped_detection
from census.estimators.rules.sampling import Sample, squares_from, strata_from
from census.estimators.rules.schnabel import sums_of
from census.estimators.rules.written import values_of
from census.estimators.rules.zippin import conditional_chance

GERKING = (
    "caught=10,27,17,7,1,5,6,15,9,18,16,5,7,19 recaptured=0,0,0,0,0,0,2,1,5,5,4,2,2,3 "
    "returned=10,27,17,7,1,5,6,15,9,18,14,5,6,0"
)
with (Path(__file__).parent / "check_values.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


def _summary(words: list[str]) -> tuple[dict[str, Any], Estimate]:
    given = {name: [float(n) for n in text.split(",")] for name, _, text in (w.partition("=") for w in words)}
    deviations = given.get("deviation") or [sqrt(variance) for variance in given["variance"]]
    samples = [
        Sample(squares=int(n), mean=mean, deviation=deviation)
        for n, mean, deviation in zip(given["squares"], given["mean"], deviations, strict=True)
    ]
    totals = [int(total) for total in given["total_squares"]]
    found = squares_from(samples[0], totals[0]) if len(samples) == 1 else strata_from(samples, totals)
    return {"total_squares": totals}, found


def _answer(call: str) -> tuple[dict[str, Any], Estimate]:
    name, *words = call.replace("GERKING", GERKING).split()
    if name == "summary":
        return _summary(words)
    values = values_of(METHODS[name], words)
    return values, METHODS[name].estimate(values)


def _logit(p: float) -> float:
    return log(p / (1 - p))


Quantity = Callable[[dict[str, Any], Estimate], float | None]
QUANTITIES: dict[str, Quantity] = {
    "estimate": lambda _, found: found.estimate,
    "low": lambda _, found: found.low,
    "high": lambda _, found: found.high,
    "se": lambda _, found: found.se,
    "sum_cm2": lambda v, _: sums_of(**v).caught_marked_squared,
    "sum_rm": lambda v, _: sums_of(**v).recaptured_marked,
    "sum_r2_by_c": lambda v, _: sums_of(**v).recaptured_squared_by_caught,
    "p": lambda v, found: catches_of(v["catches"]).chance(found.estimate),
    "p_conditional": lambda v, _: conditional_chance(catches_of(v["catches"])),
    "logit_p_conditional": lambda v, _: _logit(conditional_chance(catches_of(v["catches"]))),
    "log_of_fifth": lambda _, found: log(found.estimate / 5),
    "animals": lambda v, _: detection(**v).animals,
    "log_of_fiftieth": lambda v, _: log(detection(**v).animals / 50),
    "logit_first": lambda v, _: _logit(detection(**v).first),
    "logit_second": lambda v, _: _logit(detection(**v).second),
    "swapped_first": lambda v, _: swapped_detection(**v).first,
    "swapped_second": lambda v, _: swapped_detection(**v).second,
    "swapped_either": lambda v, _: swapped_detection(**v).either,
    "estimate_a_square": lambda v, found: found.estimate / sum(v["total_squares"]),
    "se_a_square": lambda v, found: (found.se or 0) / sum(v["total_squares"]),
    "se_without_correction": lambda v, found: (
        (found.se or 0) / sqrt(1 - len(v["counts"]) / v["total_squares"])
    ),
    "each": lambda v, found: found.estimate / v["total_weight"],
    "se_of_each": lambda v, found: (found.se or 0) / v["total_weight"],
}


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['id']}-{row['quantity']}" for row in ROWS])
def test_the_answer_is_that_of_the_source(row: dict[str, str]) -> None:
    values, found = _answer(row["call"])
    got = QUANTITIES[row["quantity"]](values, found)
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"])), row["source"]


def test_every_row_names_its_source_and_says_whether_it_was_seen_in_print() -> None:
    assert all(row["source"] and row["in_print"] in {"yes", "no"} for row in ROWS)
    assert all(
        "recomputed" in row["source"] or "memory" in row["source"] for row in ROWS if row["in_print"] == "no"
    )


def test_every_quantity_and_every_method_with_a_published_answer_is_checked() -> None:
    """Full counts and passes are arithmetic without a published case; strata are checked as summaries."""
    assert {row["quantity"] for row in ROWS} == set(QUANTITIES)
    assert set(METHODS) - {row["call"].split()[0] for row in ROWS} == {"full", "passes", "strata"}


def test_golf_tees_hide_and_the_estimate_says_that_animals_may() -> None:
    """Golf tees of the R package mrds: 250 clusters in truth; one observer saw 124, the other 142, both 104.
    They agree, and are wrong: what can be tested is the caution."""
    found = METHODS["two_observers"].estimate({"first": 124, "second": 142, "both": 104})
    assert found.high is not None
    assert found.high < 250
    assert any("hide" in warning for warning in found.warnings)
