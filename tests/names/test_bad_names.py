"""Twelve names as people type them, with exactly the behaviour that the demo house wants of each.

*Common practice, no source*: which of them a person must look at. A misspelling takes one tap, and
somebody's tap it is: it waits in the queue with its suggestion.
"""

import csv
import io
from pathlib import Path

import pytest
from django.core.management import call_command

from inventory.names.models import BackboneRelease
from inventory.names.rules.match import Asked, match

from .stores import MemoryStore

with (Path(__file__).parent / "bad_names.csv").open(encoding="utf-8", newline="") as _file:
    BAD_NAMES = list(csv.DictReader(_file))
COLUMNS = ("typed", "verdict", "name", "authorship", "rank", "qualifier", "choices")


@pytest.mark.parametrize("expected", BAD_NAMES, ids=[row["typed"] for row in BAD_NAMES])
def test_each_bad_name_gets_its_own_behaviour(expected: dict[str, str], memory: MemoryStore) -> None:
    (verdict,) = match([Asked(expected["typed"])], memory)
    row = verdict.as_row()
    assert {column: row[column] for column in COLUMNS} == {column: expected[column] for column in COLUMNS}
    assert expected["why_has"] in verdict.why
    assert verdict.is_certain == (expected["needs_a_person"] == "no")


def test_the_command_answers_the_same_from_the_database(backbone: BackboneRelease, tmp_path: Path) -> None:
    typed = tmp_path / "typed.txt"
    typed.write_text("\n".join(row["typed"] for row in BAD_NAMES), encoding="utf-8")
    out = io.StringIO()
    call_command("check_names", str(typed), "--format", "csv", stdout=out)
    rows = list(csv.DictReader(io.StringIO(out.getvalue())))
    assert [{column: row[column] for column in COLUMNS} for row in rows] == [
        {column: row[column] for column in COLUMNS} for row in BAD_NAMES
    ]
    assert {row["release"] for row in rows} == {str(backbone)}


def test_the_animals_held_where_the_line_comes_from_are_offered_first(memory: MemoryStore) -> None:
    (verdict,) = match([Asked("dogfish")], memory, held_here={"Scyliorhinus stellaris"})
    assert [choice.name for choice in verdict.choices] == [
        "Scyliorhinus stellaris", "Scyliorhinus canicula", "Squalus acanthias",
    ]  # fmt: skip
    assert verdict.name == ""


def test_choices_across_phyla_name_the_phylum_of_each(memory: MemoryStore) -> None:
    (verdict,) = match([Asked("Sea-Snail")], memory)
    assert {choice.name: choice.phylum for choice in verdict.choices} == {
        "Liparis liparis": "Chordata",
        "Gastropoda": "Mollusca",
    }
