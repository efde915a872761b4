"""The store of a release's names: built whole or not at all, and the same answers from every database."""

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from inventory.names.actions.backbone import load_source
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, RangeCaution
from inventory.names.queries.store import ReleaseStore, current_release, release_names
from inventory.names.queries.verdicts import verdicts_for
from inventory.names.readers.archive import open_archive
from inventory.names.readers.source import ArchiveError
from inventory.names.rules.match import Asked
from inventory.names.rules.parse import parse
from inventory.names.rules.verdicts import VerdictKind
from inventory.names.store.split import LONGEST, canonical_of, split
from inventory.names.store.where import LoadRunning, _locked, remove
from tests.factories import NOW
from tests.migrated import copy_of_the_tests_database, on_sqlite_anyhow

from . import thousand
from .sources import RowSource, in_memory, names, store_file
from .stores import BACKBONE

PROJECT = Path(__file__).resolve().parents[2]
on_sqlite = pytest.mark.skipif("DATABASE_URL" in os.environ, reason="the file of a SQLite store")


def load(records: list[dict[str, str]], version: str = "1") -> BackboneRelease:
    source = RowSource(records)
    source.about = type(source.about)("rows of a test", version)
    return load_source(source, called="rows", now=NOW).release


def test_the_thousand_verdicts_are_those_of_the_store_in_memory() -> None:
    """So the recorded file says what the rules say now: write it anew with python -m tests.names.thousand."""
    rows = thousand.records()
    lines = thousand.typed(rows)
    assert thousand.verdicts(in_memory(rows, release=thousand.RELEASE), lines) == thousand.recorded()
    assert len({row["verdict"] for row in thousand.recorded()}) >= 8


@pytest.mark.django_db
def test_the_database_gives_the_thousand_recorded_verdicts() -> None:
    """Run on SQLite and on PostgreSQL, against one file: so both give the same."""
    store = ReleaseStore(load(thousand.records()))
    recorded = thousand.recorded()
    assert thousand.verdicts(store, [row["typed"] for row in recorded]) == recorded


@pytest.mark.django_db
def test_homonyms_are_all_found() -> None:
    rows = names("Ctenophora", "Gadus morhua", "Ctenophora")
    found = release_names(load(rows)).named(["Ctenophora"])
    assert [usage.taxon_id for usage in found["Ctenophora"]] == ["0", "2"]


@pytest.mark.django_db
def test_a_long_chain_of_synonyms_leads_to_its_end() -> None:
    chain = names(*(f"Doris numero{'abcdefghij'[at % 10] * (1 + at // 10)}" for at in range(60)))
    for row in chain[1:]:
        row |= {"acceptedNameUsageID": str(int(row["taxonID"]) - 1), "taxonomicStatus": "synonym"}
    release = load(chain)
    assert (release.n_names, release.n_synonyms, release.has_synonyms) == (60, 59, True)
    found = release_names(release).identified(["59", "30", "1"])
    assert {usage.target.taxon_id for usage in found.values()} == {"0"}


@pytest.mark.django_db
def test_a_long_circle_of_synonyms_is_refused_with_its_first_line() -> None:
    rows = names("Gadus morhua", *(f"Doris alba{'abcdefg'[at]}" for at in range(7)))
    for row in rows[1:]:
        row |= {"acceptedNameUsageID": str(int(row["taxonID"]) % 7 + 1), "taxonomicStatus": "synonym"}
    with pytest.raises(ArchiveError, match="rows, line 2: synonyms that lead round in a circle"):
        load(rows)
    assert not BackboneRelease.objects.exists()


@pytest.mark.django_db
def test_a_name_longer_than_any_line_is_cut_and_said() -> None:
    source = RowSource(names("Gadus " + "m" * 400))
    loaded = load_source(source, called="rows", now=NOW)
    assert loaded.remarks == ("rows: names or authors cut at 300 characters: 1, the first on line 1",)
    (found,) = release_names(loaded.release).identified(["0"]).values()
    assert len(found.canonical_name) == LONGEST


@pytest.mark.django_db
def test_a_release_that_changes_a_name_in_use_waits() -> None:
    first = load(names("Gadus morhua", "Gadus ater"))
    taxa_for(["Gadus morhua", "Nullius nusquam"], now=NOW)
    moved = names("Gadus ater", "Morhua vulgaris", "Gadus morhua")
    moved[2] |= {"acceptedNameUsageID": "1", "taxonomicStatus": "synonym"}
    source = RowSource(moved)
    source.about = type(source.about)("rows of a test", "2")
    loaded = load_source(source, called="rows", now=NOW)
    assert (loaded.changes, loaded.release.is_current, current_release()) == (1, False, first)
    # What changes no name in use is taken as it comes.
    third = load(names("Gadus morhua", "Gadus albus"), "3")
    assert current_release() == third


@pytest.mark.django_db
def test_cautions_hold_whatever_release_is_current_and_an_edited_one_stays() -> None:
    load_source(open_archive(BACKBONE), called="demo", now=NOW)
    caution = RangeCaution.objects.get()
    caution.reason = "as the house puts it"
    caution.save()
    source = open_archive(BACKBONE)
    source.about = type(source.about)("the demo's backbone once more", "2")
    load_source(source, called="demo", now=NOW)
    load(names("Maja squinado", "Maja brachydactyla"), "without cautions")
    assert RangeCaution.objects.get().reason == "as the house puts it"
    (verdict,) = verdicts_for([Asked("Maja squinado")])[1]
    assert verdict.release == "rows of a test without cautions"
    assert (verdict.verdict, verdict.name) == (VerdictKind.MISAPPLIED, "")


@pytest.mark.django_db
def test_common_names_and_synonyms_of_a_taxon_are_read() -> None:
    release = load_source(open_archive(BACKBONE), called="demo", now=NOW).release
    store = release_names(release)
    (cod,) = store.named(["Gadus morhua"])["Gadus morhua"]
    common = store.common_names_of([cod.taxon_id])[cod.taxon_id]
    assert ("Atlantic cod", "en") in {(one.name, one.language) for one in common}
    (sagartia,) = store.named(["Sagartia elegans"])["Sagartia elegans"]
    assert sagartia in store.synonyms_of([sagartia.target.taxon_id])[sagartia.target.taxon_id]


@on_sqlite
@pytest.mark.django_db
def test_names_that_are_not_on_this_machine_are_said_to_be_missing() -> None:
    release = load(names("Gadus morhua"))
    remove(release.pk, release.fingerprint)
    (verdict,) = verdicts_for([Asked("Gadus morhua")])[1]
    assert verdict.verdict is VerdictKind.NOT_FOUND
    assert "is missing: the names of this release are not on this machine. Load it again" in verdict.why


@on_sqlite
@pytest.mark.django_db
def test_a_store_of_another_layout_is_not_read() -> None:
    release = load(names("Gadus morhua"))
    (path,) = Path(settings.BACKBONE_FOLDER).glob(f"{release.pk}-{release.fingerprint[:16]}*")
    with sqlite3.connect(path) as file:
        file.execute("PRAGMA user_version = 999")
    file.close()
    (verdict,) = verdicts_for([Asked("Gadus morhua")])[1]
    assert "another version of the program" in verdict.why


@pytest.mark.skipif("DATABASE_URL" not in os.environ, reason="tables in PostgreSQL")
@pytest.mark.django_db
def test_a_failed_load_leaves_no_table_in_postgresql() -> None:
    before = set(connection.introspection.table_names())
    with pytest.raises(ArchiveError):
        load([*names("Gadus morhua"), *names("Gadus ater")])
    assert set(connection.introspection.table_names()) == before


def test_two_loads_at_once_are_refused(tmp_path: Path) -> None:
    with (
        _locked(tmp_path),
        pytest.raises(LoadRunning, match="another load is writing"),
        _locked(tmp_path),
    ):
        pass
    with _locked(tmp_path):
        pass


KILLED = """
import os, signal, sys, django
django.setup()
from pathlib import Path
from inventory.doors.clock import now
from inventory.names.actions.backbone import load_release
def tell(step, share):
    if step == sys.argv[2]:
        os.kill(os.getpid(), signal.SIGKILL)
loaded = load_release(Path(sys.argv[1]), now=now(), tell=tell)
print(loaded.already, loaded.usages, loaded.release.is_current)
"""


@pytest.fixture
def house(tmp_path: Path, db: None) -> tuple[Path, dict[str, str]]:
    """A house of its own on SQLite, for a process that is killed."""
    copy_of_the_tests_database(tmp_path / "tidetally.sqlite3")
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    return (
        tmp_path,
        environment
        | {
            "TIDETALLY_DATA": str(tmp_path),
            "TIDETALLY_SECRET_KEY": "for tests only",
            "DJANGO_SETTINGS_MODULE": "inventory.site.settings",
        },
    )


@on_sqlite_anyhow
def test_a_load_that_was_killed_is_started_again_cleanly(house: tuple[Path, dict[str, str]]) -> None:
    folder, environment = house

    def run(until: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-c", KILLED, str(BACKBONE), until]
        return subprocess.run(
            command, cwd=PROJECT, env=environment, capture_output=True, text=True, check=False, timeout=120
        )

    killed = run("following synonyms")
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert [path.name for path in (folder / "backbone").glob("*.part")] == ["loading.part"]
    assert not list((folder / "backbone").glob("*.sqlite3"))
    again = run("never")
    assert again.returncode == 0, again.stderr
    rows = len((BACKBONE / "taxon.csv").read_text(encoding="utf-8").splitlines()) - 1
    assert again.stdout.split() == ["False", str(rows), "True"]
    assert not list((folder / "backbone").glob("*.part"))
    assert len(list((folder / "backbone").glob("*.sqlite3"))) == 1


@pytest.mark.parametrize(
    ("written", "author", "canonical", "found"),
    [
        ("Gadus morhua Linnaeus, 1758", "", "Gadus morhua", "Linnaeus, 1758"),
        ("Gadus morhua Linnaeus, 1758", "Linnaeus, 1758", "Gadus morhua", "Linnaeus, 1758"),
        ("Labrus bergylta (Ascanius, 1767)", "", "Labrus bergylta", "(Ascanius, 1767)"),
        ("Gadus", "", "Gadus", ""),
        ("Gadus Linnaeus, 1758", "", "Gadus", "Linnaeus, 1758"),
        ("Unio requienii abbreviatus de Joannis, 1859", "", "Unio requienii abbreviatus", "de Joannis, 1859"),
        ("Unio requienii de Joannis, 1859", "", "Unio requienii", "de Joannis, 1859"),
        ("Nassa pagoda var. acuta Carpenter, 1857", "", "Nassa pagoda acuta", "Carpenter, 1857"),
        ("Aus bus Smith, 1900 var. cus Jones, 1901", "", "Aus bus cus", "Jones, 1901"),
        ("Doris (Archidoris) alba Tesslar, 1800", "", "Doris alba", "Tesslar, 1800"),
        ("BOLD:AAA1234", "", "BOLD:AAA1234", ""),
        ("Tobacco mosaic virus", "", "Tobacco mosaic virus", ""),
    ],
)
def test_the_author_is_taken_off(written: str, author: str, canonical: str, found: str) -> None:
    assert canonical_of(written, author) == (canonical, found)


def test_the_own_rules_for_plain_names_agree_with_the_parser() -> None:
    """The parser is gbif-name-parser; the names are the demo backbone's, with their authors."""
    archive = open_archive(BACKBONE)
    terms = ("scientificName", "scientificNameAuthorship", "canonicalName")
    for _, (scientific, author, canonical) in archive.rows_of(archive.core, terms):
        full = scientific if scientific.endswith(author) else f"{scientific} {author}"
        readings = parse(full).readings
        assert canonical_of(full, "")[0] == canonical
        if readings and author:
            assert readings[0].canonical == canonical


def test_a_name_is_split_into_words_and_a_code_is_not() -> None:
    assert split("Gadus morhua callarias") == ("Gadus", "morhua", "callarias")
    assert split("Gadidae") == ("Gadidae", "", "")
    assert split("BOLD:AAA1234") == ("", "", "BOLD:AAA1234")


def test_exact_names_of_every_shape_are_found(tmp_path: Path) -> None:
    shapes = [
        "Gadus", "Gadus morhua", "Gadus morhua callarias", "Gadus morhua var. alba", "BOLD:AAA1234",
        "Ångström ö",
    ]  # fmt: skip
    store = store_file(tmp_path, names(*shapes))
    others = ["Gadus callarias", "Gadus alba", "Bold", "callarias"]
    assert sorted(store.named([*shapes, *others])) == sorted(shapes)
