"""The command `estimate`: what it prints, in three forms, and with which code it ends."""

import csv
import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command, get_commands, load_command_class

from census.estimators.rules.methods import METHODS

COLUMNS = ["estimate", "low", "high", "se", "method", "warnings"]


def _run(*words: str) -> tuple[str, str]:
    out, err = StringIO(), StringIO()
    call_command("estimate", *words, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


@pytest.mark.parametrize("name", METHODS)
def test_every_example_of_the_help_gives_an_answer(name: str) -> None:
    """Without a database: these tests have none."""
    out, err = _run(*METHODS[name].example.split(), "--format", "json")
    (row,) = json.loads(out)
    assert list(row) == COLUMNS
    assert row["low"] <= row["estimate"] <= row["high"]
    assert err == ""


def test_csv_has_one_row_and_rounds_to_six_digits() -> None:
    """Pine et al. 2013, Box 11.2: 1578, 1330 to 1826."""
    out, _ = _run("chapman", "marked=421", "caught=332", "recaptured=88", "--format", "csv")
    (row,) = csv.DictReader(StringIO(out))
    assert list(row) == COLUMNS
    assert [row[name] for name in COLUMNS[:4]] == ["1577.94", "1329.9", "1825.99", "126.556"]


def test_small_rates_keep_their_digits() -> None:
    (row,) = json.loads(_run("poisson", "count=3", "exposure=1200", "--format", "json")[0])
    assert (row["estimate"], row["low"], row["high"]) == (0.0025, 0.00051556, 0.00730606)


def test_the_table_shows_warnings_and_tells_what_is_assumed() -> None:
    out, err = _run("removal", "catches=45,11,18,8")
    assert "90.639" in out
    assert "do not fit one chance" in out
    assert "Assumes: Every pass was made with the same effort." in err


def test_warnings_are_a_list_in_json_and_a_missing_limit_is_null() -> None:
    (row,) = json.loads(_run("petersen", "marked=50", "caught=30", "recaptured=1", "--format", "json")[0])
    assert row["high"] is None
    assert len(row["warnings"]) == 3


def test_a_form_may_be_chosen() -> None:
    """Van Deventer 1989 p. 13: 249 in whole numbers."""
    (row,) = json.loads(_run("removal", "catches=124,61,35,14", "form=whole", "--format", "json")[0])
    assert row["estimate"] == 249


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("removal catches=5,7,8", "do not fall"),
        ("two_observers_swapped first_leads=60 second_adds=10", "did not swap roles"),
        ("chapman marked=40 caught=30 recaptured=0", "No marked animal"),
    ],
)
def test_a_refusal_ends_with_1_and_the_reason(words: str, reason: str) -> None:
    with pytest.raises(CommandError, match=reason) as refused:
        _run(*words.split())
    assert refused.value.returncode == 1


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("chapman marked=421 caught=332", "needs recaptured"),
        ("chapman marked=421 caught=332 recaptured=many", "recaptured=many: expected whole number"),
        ("chapman marked=421 caught=332 recaptured=88 lost=2", "takes no 'lost'"),
        ("chapman marked=421 marked=332 recaptured=88", "twice"),
        ("chapman 421", "is not NAME=VALUE"),
        ("removal catches=45,,8", "whole numbers with commas"),
        ("removal catches=45,8 form=other", "likelihood or whole or conditional"),
        ("poisson count=3 exposure=inf", "expected number"),
        (f"full count={10**400}", "more than anybody can count"),
    ],
)
def test_bad_usage_ends_with_2_and_what_was_expected(words: str, reason: str) -> None:
    with pytest.raises(CommandError, match=reason) as refused:
        _run(*words.split())
    assert refused.value.returncode == 2


def test_an_unknown_method_is_bad_usage() -> None:
    with pytest.raises(CommandError, match="invalid choice: 'guess'"):
        _run("guess", "count=3")


def test_the_help_names_every_method_and_every_value_it_takes() -> None:
    text = (
        load_command_class(get_commands()["estimate"], "estimate")
        .create_parser("x", "estimate")
        .format_help()
    )
    for method in METHODS.values():
        _, _, rest = text.partition(f"\n  {method.name}: ")
        section = rest.partition("for example: ")[0]
        assert all(f"{value.name}=" in section for value in method.values)
        assert method.example in text
