"""What must hold for every estimate, whatever was counted."""

from collections.abc import Callable, Sequence
from math import isfinite
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from census.estimators.rules.estimate import CannotEstimate, Estimate
from census.estimators.rules.methods import METHODS, Kind
from census.estimators.rules.rates import poisson
from census.estimators.rules.schnabel import SchnabelForm

number = st.integers(0, 300)
catches = st.lists(number, min_size=2, max_size=7)
marked = st.fixed_dictionaries({"marked": number, "caught": number, "recaptured": st.integers(0, 60)})


@st.composite
def _several_catches(draw: st.DrawFn) -> dict[str, Any]:
    caught = draw(st.lists(st.integers(0, 60), min_size=2, max_size=8))
    recaptured, at_large = [], 0
    for c in caught:
        r = draw(st.integers(0, min(c, at_large)))
        recaptured.append(r)
        at_large += c - r
    return {"caught": caught, "recaptured": recaptured, "form": draw(st.sampled_from(SchnabelForm))}


@st.composite
def _squares(draw: st.DrawFn) -> dict[str, Any]:
    counts = draw(st.lists(number, min_size=2, max_size=12))
    return {"counts": counts, "total_squares": len(counts) + draw(number)}


@st.composite
def _strata(draw: st.DrawFn) -> dict[str, Any]:
    each = draw(st.lists(_squares(), min_size=1, max_size=4))
    return {
        "counts": [one["counts"] for one in each],
        "total_squares": [one["total_squares"] for one in each],
    }


@st.composite
def _portions(draw: st.DrawFn) -> dict[str, Any]:
    portions = draw(st.lists(st.tuples(number, st.integers(1, 90)), min_size=2, max_size=10))
    weights = [weight for _, weight in portions]
    return {
        "counts": [count for count, _ in portions],
        "weights": weights,
        "total_weight": sum(weights) + draw(number),
    }


@st.composite
def _shares(draw: st.DrawFn) -> dict[str, Any]:
    of = draw(st.integers(1, 500))
    return {"cases": draw(st.integers(0, of)), "of": of}


Values = dict[str, Any]
INPUTS: dict[str, st.SearchStrategy[Values]] = {
    "full": st.fixed_dictionaries({"count": number}),
    "passes": st.fixed_dictionaries({"counts": catches}),
    "two_observers": st.fixed_dictionaries({"first": number, "second": number, "both": st.integers(0, 100)}),
    "two_observers_swapped": st.fixed_dictionaries(
        dict.fromkeys(("first_leads", "second_adds", "second_leads", "first_adds"), number)
    ),
    "petersen": marked,
    "chapman": marked,
    "schnabel": _several_catches(),
    "removal": st.fixed_dictionaries({"catches": catches}),
    "carle_strub": st.fixed_dictionaries({"catches": catches}),
    "squares": _squares(),
    "strata": _strata(),
    "ratio": _portions(),
    "wilson": _shares(),
    "clopper_pearson": _shares(),
    "poisson": st.fixed_dictionaries({"count": number, "exposure": st.floats(0.01, 1e6)}),
}
# What was seen with certainty, for the methods that estimate a number of animals.
SEEN: dict[str, Callable[[Values], float]] = {
    "full": lambda v: v["count"],
    "passes": lambda v: min(v["counts"]),
    "two_observers": lambda v: v["first"] + v["second"] - v["both"],
    "two_observers_swapped": lambda v: sum(v.values()),
    "petersen": lambda v: v["marked"] + v["caught"] - v["recaptured"],
    "chapman": lambda v: v["marked"] + v["caught"] - v["recaptured"],
    "schnabel": lambda v: sum(v["caught"]) - sum(v["recaptured"]),
    "removal": lambda v: sum(v["catches"]),
    "carle_strub": lambda v: sum(v["catches"]),
    "squares": lambda v: sum(v["counts"]),
    "strata": lambda v: sum(map(sum, v["counts"])),
    "ratio": lambda v: sum(v["counts"]),
    "wilson": lambda v: 0,
    "clopper_pearson": lambda v: 0,
    "poisson": lambda v: 0,
}


def _estimated(name: str, values: Values) -> Estimate:
    try:
        return METHODS[name].estimate(values)
    except CannotEstimate:
        assume(False)
        raise


def test_every_method_is_tried() -> None:
    assert set(INPUTS) == set(SEEN) == set(METHODS)


@pytest.mark.parametrize("name", METHODS)
@given(data=st.data())
def test_the_interval_holds_the_estimate_and_neither_is_below_what_was_seen(
    name: str, data: st.DataObject
) -> None:
    values = data.draw(INPUTS[name])
    found = _estimated(name, values)
    hair = 1e-9 * max(1.0, found.estimate)
    assert found.low <= found.estimate + hair
    assert found.high is None or found.estimate <= found.high + hair
    assert found.low >= SEEN[name](values) - hair
    assert all(isfinite(n) for n in (found.estimate, found.low, found.high or 0, found.se or 0))
    assert found.se is None or found.se >= 0


@pytest.mark.parametrize("name", METHODS)
@given(data=st.data())
def test_an_answer_names_its_method_and_what_it_assumes_and_a_missing_limit_is_explained(
    name: str, data: st.DataObject
) -> None:
    found = _estimated(name, data.draw(INPUTS[name]))
    assert found.method
    assert found.assumptions
    assert found.high is not None or any("no upper limit" in warning for warning in found.warnings)


wild = st.integers(-3, 40)
WILD: dict[Kind, st.SearchStrategy[Any]] = {
    Kind.WHOLE: wild,
    Kind.NUMBER: wild,
    Kind.WHOLES: st.lists(wild, max_size=5),
    Kind.NUMBERS: st.lists(wild, max_size=5),
    Kind.STRATA: st.lists(st.lists(wild, max_size=4), max_size=3),
}


@pytest.mark.parametrize("name", METHODS)
@given(data=st.data())
def test_refusing_is_the_only_way_not_to_answer(name: str, data: st.DataObject) -> None:
    """Also for values that make no sense: a sentence, never a division by zero."""
    taken = [value for value in METHODS[name].values if value.words is None]
    values = {value.name: data.draw(WILD[value.kind]) for value in taken}
    assert _refusal(name, values).endswith(("answered", "."))


def _refusal(name: str, values: Values) -> str:
    try:
        METHODS[name].estimate(values)
    except CannotEstimate as refusal:
        return str(refusal)
    return "answered"


def _figures(found: Estimate) -> Sequence[float | None]:
    return found.estimate, found.low, found.high, found.se


@given(INPUTS["two_observers"])
def test_it_does_not_matter_which_observer_is_called_the_first(values: Values) -> None:
    swapped = {"first": values["second"], "second": values["first"], "both": values["both"]}
    assert _figures(_estimated("two_observers", values)) == pytest.approx(
        _figures(_estimated("two_observers", swapped))
    )


@given(INPUTS["two_observers_swapped"])
def test_it_does_not_matter_who_leads_first(values: Values) -> None:
    swapped = {
        "first_leads": values["second_leads"],
        "second_adds": values["first_adds"],
        "second_leads": values["first_leads"],
        "first_adds": values["second_adds"],
    }
    assert _figures(_estimated("two_observers_swapped", values)) == pytest.approx(
        _figures(_estimated("two_observers_swapped", swapped))
    )


@given(marked)
def test_marked_and_caught_may_be_exchanged_in_chapmans_estimate(values: Values) -> None:
    exchanged = {**values, "marked": values["caught"], "caught": values["marked"]}
    assert _figures(_estimated("chapman", values)) == pytest.approx(
        _figures(_estimated("chapman", exchanged))
    )


@pytest.mark.parametrize("name", ["wilson", "clopper_pearson"])
@given(values=_shares())
def test_the_share_of_the_others_has_the_mirrored_interval(name: str, values: Values) -> None:
    here = _estimated(name, values)
    there = _estimated(name, {"cases": values["of"] - values["cases"], "of": values["of"]})
    assert there.high is not None
    assert here.low == pytest.approx(1 - there.high, abs=1e-9)


@given(st.integers(0, 200), st.floats(0.1, 1e4), st.floats(0.1, 1e4))
def test_a_rate_scales_with_its_unit(count: int, exposure: float, per: float) -> None:
    one, many = poisson(count, exposure), poisson(count, exposure, per)
    assert many.estimate == pytest.approx(one.estimate * per)
    assert many.high == pytest.approx((one.high or 0) * per)


@given(_squares())
def test_counting_every_square_leaves_no_doubt(values: Values) -> None:
    found = _estimated("squares", {**values, "total_squares": len(values["counts"])})
    assert _figures(found) == pytest.approx([sum(values["counts"])] * 3 + [0])
