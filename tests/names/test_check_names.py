"""The command check_names: one row for each line, whatever the line holds."""

import csv
import json
from dataclasses import replace
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease
from inventory.names.queries.verdicts import verdicts_for
from inventory.names.readers.lines import read_lines
from inventory.names.rules.match import Asked, match
from inventory.names.rules.verdicts import COLUMNS
from tests.factories import NOW, make_event, make_lot, make_place

from .stores import MemoryStore


def check(file: Path, form: str = "csv") -> str:
    out = StringIO()
    call_command("check_names", str(file), "--format", form, stdout=out)
    return out.getvalue()


def test_without_a_backbone_it_says_so_and_how_to_load_one(db: None, tmp_path: Path) -> None:
    file = tmp_path / "names.txt"
    file.write_text("Gadus morhua\n", encoding="utf-8")
    with pytest.raises(CommandError, match="backbone load fixtures/backbone") as error:
        check(file)
    assert error.value.returncode == 1


def test_a_file_that_is_not_there_is_bad_usage(db: None, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="no such file") as error:
        check(tmp_path / "none.txt")
    assert error.value.returncode == 2


def test_every_line_has_its_row_in_order(backbone: BackboneRelease, tmp_path: Path) -> None:
    file = tmp_path / "names.txt"
    file.write_bytes(
        b'\xef\xbb\xbfGadus morhua\r\n\nGadus "morhua", big\nsea\xff snail\n\tHenricia sp.\x0b\n'
    )
    rows = list(csv.DictReader(StringIO(check(file))))
    assert [row["typed"] for row in rows] == [
        "Gadus morhua", "", 'Gadus "morhua", big', "sea\ufffd snail", "\tHenricia sp.\x0b",
    ]  # fmt: skip
    assert list(rows[0]) == list(COLUMNS)
    assert [row["verdict"] for row in rows][::4] == ["accepted", "genus_only"]


def test_a_csv_with_a_classification_is_read_by_its_header(backbone: BackboneRelease, tmp_path: Path) -> None:
    file = tmp_path / "names.csv"
    text = (
        "id,scientificName,phylum,class,taxonRank\n1,Liparis liparis,Mollusca,,\n"
        "2,Gadus morhua,,Actinopteri,species\n3\n"
    )
    file.write_text(text, encoding="utf-8")
    rows = list(csv.DictReader(StringIO(check(file))))
    assert [row["verdict"] for row in rows] == ["ambiguous", "accepted", "not_found"]


def test_json_and_table_hold_the_same_answers(backbone: BackboneRelease, tmp_path: Path) -> None:
    file = tmp_path / "names.txt"
    file.write_text("dogfish\n", encoding="utf-8")
    (row,) = json.loads(check(file, "json"))
    assert (row["verdict"], row["name"]) == ("common_name", "")
    assert "Scyliorhinus canicula | Scyliorhinus stellaris | Squalus acanthias" in check(file, "table")


def test_standard_input_is_read(backbone: BackboneRelease, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", TextIOWrapper(BytesIO(b"Gadus morhua\nAnarhicas lupus")))
    rows = list(csv.DictReader(StringIO(check(Path("-")))))
    assert [row["name"] for row in rows] == ["Gadus morhua", "Anarhichas lupus"]


def test_an_empty_file_has_no_rows(backbone: BackboneRelease, tmp_path: Path) -> None:
    file = tmp_path / "names.txt"
    file.touch()
    assert list(csv.DictReader(StringIO(check(file)))) == []


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(lines=st.lists(st.text(st.characters(exclude_characters="\n"), max_size=60), max_size=12))
def test_whatever_the_lines_hold_the_database_answers_each(
    lines: list[str], backbone: BackboneRelease
) -> None:
    content = "".join(f"{line}\n" for line in lines).encode("utf-8", errors="surrogatepass")
    asked = read_lines(content)
    _, verdicts = verdicts_for(asked)
    out = StringIO()
    writer = csv.DictWriter(out, COLUMNS)
    writer.writerows(verdict.as_row() for verdict in verdicts)
    if not any("scientificname" in line.casefold() for line in lines):
        assert len(verdicts) == len(lines)


def test_queries_do_not_grow_with_the_names(backbone: BackboneRelease) -> None:
    """On SQLite the names are in a file of their own and only four queries go to the main database."""
    kinds = ["Gadus morhua", "Gobiusculus flavescen", "Anarhicas lupus", "dogfish", "Maja squinado", "Raia"]
    many = [f"{name}{end}" for name in kinds for end in ["", " juv.", "?", *"abcdefgh"]]
    with CaptureQueriesContext(connection) as few_queries:
        verdicts_for([Asked(name) for name in kinds])
    with CaptureQueriesContext(connection) as many_queries:
        verdicts_for([Asked(name) for name in many])
    limit = 30 if connection.vendor == "postgresql" else 4
    assert len(few_queries) <= limit
    assert len(many_queries) <= limit


def test_a_tank_puts_what_is_held_there_first(backbone: BackboneRelease, tmp_path: Path) -> None:
    squalus = taxa_for(["Squalus acanthias"], now=NOW)["Squalus acanthias"]
    make_event(lot=make_lot(taxon=squalus), place=make_place("E06"), unknown=3)
    file = tmp_path / "names.txt"
    file.write_text("dogfish\n", encoding="utf-8")
    out = StringIO()
    call_command("check_names", str(file), "--format", "json", "--place", "E06", stdout=out)
    (row,) = json.loads(out.getvalue())
    assert row["choices"] == "Squalus acanthias | Scyliorhinus canicula | Scyliorhinus stellaris"
    assert row["name"] == ""


def test_a_tank_that_never_was_is_bad_usage(backbone: BackboneRelease, tmp_path: Path) -> None:
    file = tmp_path / "names.txt"
    file.write_text("dogfish\n", encoding="utf-8")
    with pytest.raises(CommandError, match="--place E99: no animal has ever stood there") as error:
        call_command("check_names", str(file), "--place", "E99")
    assert error.value.returncode == 2


def test_the_store_in_the_database_finds_what_the_one_in_memory_finds(
    backbone: BackboneRelease, memory: MemoryStore
) -> None:
    """The store looks only where a near name can be; the one in memory measures every name."""
    spoilt = [
        f"{name[:at]}{name[at + 1 :]}{end}"
        for name in ("Gobius niger", "Carcinus maenas", "Scyliorhinus canicula", "Ophiocomina nigra")
        for at in range(1, len(name), 2)
        for end in ("", "um", "s")
    ] + ["Gobius nigrum", "Ophiocomina niger", "P. minutus", "Henricea sp."]
    asked = [Asked(name) for name in spoilt]
    here = [replace(verdict, release="") for verdict in verdicts_for(asked)[1]]
    there = [replace(verdict, release="") for verdict in match(asked, memory)]
    assert here == there


@pytest.mark.parametrize("typed", ["=1+1", "-- Asterias rubens", "@home", "+ x"])
def test_what_was_typed_comes_back_letter_by_letter_in_csv(
    typed: str, backbone: BackboneRelease, tmp_path: Path
) -> None:
    """Programs join their lines with ours; a spreadsheet's guard would make them differ."""
    file = tmp_path / "names.txt"
    file.write_text(f"{typed}\n", encoding="utf-8")
    (row,) = csv.DictReader(StringIO(check(file)))
    assert row["typed"] == typed
