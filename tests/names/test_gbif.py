"""GBIF's second opinion, with a stub in place of the one function that goes to the network.

The shapes of the answers follow the reference of GBIF's API, ``GET /v2/species/match``
(https://techdocs.gbif.org/en/openapi/v1/species); the values are made up.
"""

import importlib
import inspect
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
import requests

from inventory.names.gbif import PATIENCE, GbifError, second_opinion

SYNONYM = {
    "usage": {"name": "Gobiusculus flavescens (Fabricius, 1779)", "rank": "SPECIES", "status": "SYNONYM"},
    "acceptedUsage": {"key": "5", "name": "Pomatoschistus flavescens (Fabricius, 1779)", "rank": "SPECIES"},
    "classification": [{"key": "N", "name": "Animalia", "rank": "KINGDOM"}],
    "diagnostics": {"matchType": "EXACT", "confidence": 99},
    "synonym": True,
}  # fmt: skip
NONE = {"diagnostics": {"matchType": "NONE", "confidence": 100, "note": "Multiple equal matches"}}
Answer = Callable[..., Any]


def replace_get(monkeypatch: pytest.MonkeyPatch, answer: Answer) -> None:
    # The package gives its function the name of its module, so the module is asked for by name.
    module = importlib.import_module("pygbif.species.name_backbone")
    monkeypatch.setattr(module, "gbif_GET", answer)


def test_a_synonym_comes_with_its_accepted_name(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: dict[str, Any] = {}

    def answer(url: str, args: dict[str, Any], **kwargs: Any) -> Any:
        asked.update(args, url=url, **kwargs)
        return SYNONYM

    replace_get(monkeypatch, answer)
    opinion = second_opinion("  Gobiusculus  flavescens ")
    assert (asked["scientificName"], asked["kingdom"], asked["timeout"]) == (
        "Gobiusculus flavescens", "Animalia", PATIENCE,
    )  # fmt: skip
    assert asked["url"].endswith("/v2/species/match")
    assert (opinion.match, opinion.status) == ("the very name", "synonym")
    assert opinion.accepted == "Pomatoschistus flavescens (Fabricius, 1779)"
    assert opinion.classification == (("kingdom", "Animalia"),)


def test_no_match_is_no_name_however_confident(monkeypatch: pytest.MonkeyPatch) -> None:
    replace_get(monkeypatch, lambda url, args, **kwargs: NONE)
    opinion = second_opinion("Nullius nusquam")
    assert (opinion.match, opinion.name, opinion.note) == ("no name", "", "Multiple equal matches")


@pytest.mark.parametrize(
    ("trouble", "what"),
    [
        (requests.ReadTimeout(), "did not answer within 8 seconds"),
        (requests.ConnectTimeout(), "did not answer within"),
        (requests.ConnectionError(), "no way to the network"),
        (requests.HTTPError(response=None), "status an error"),
        (ValueError("no json"), "cannot be read"),
    ],
)
def test_no_answer_is_said_in_words(trouble: Exception, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def answer(url: str, args: dict[str, Any], **kwargs: Any) -> Any:
        raise trouble

    replace_get(monkeypatch, answer)
    with pytest.raises(GbifError, match=what):
        second_opinion("Gadus morhua")


def test_an_answer_of_another_shape_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    replace_get(monkeypatch, lambda url, args, **kwargs: ["what"])
    with pytest.raises(GbifError, match="cannot be read"):
        second_opinion("Gadus morhua")


def test_an_empty_name_is_not_asked() -> None:
    with pytest.raises(GbifError, match="no name"):
        second_opinion("  ")


def test_the_stub_takes_what_the_real_function_takes() -> None:
    """A stub that drifts from the library would prove nothing."""
    utilities = importlib.import_module("pygbif.gbifutils")
    assert list(inspect.signature(utilities.gbif_GET).parameters) == ["url", "args", "kwargs"]


def test_the_module_does_not_import_pygbif_until_it_is_asked() -> None:
    code = "import sys, inventory.names.gbif; sys.exit('pygbif' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
