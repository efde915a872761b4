"""A seeded sample of spoilt files through every importer; the benchmark ``bench_fuzz`` hands over 10,000."""

import random
import zipfile
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.scans import attach_scans
from census.rounds.readers.count_sheets import read_sheets
from census.rounds.readers.decisions import read_decisions
from inventory.book.models import Document
from inventory.book.readers import NotReadable, SheetBroken, guard, open_source
from inventory.names.management.commands import check_names
from inventory.names.models import BackboneRelease
from inventory.names.readers.archive import ArchiveError, open_archive
from inventory.site.backup import restore
from inventory.site.backup.manifest import NotABackup
from tests import factories
from tests.book.load_files import HOUSE, run_load, write_workbook
from tests.rounds.house import TestHouse, make_test_house

from .fuzz import damage, importers, packed
from .fuzz.running import MOST_MEMORY, fuzz

INPUTS, SEED = 300, 20261128


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
@pytest.mark.slow
def test_spoilt_files_are_taken_or_refused_in_words_and_never_half() -> None:
    """Memory is looked at in the benchmark, where nothing else runs in the process."""
    house = importers.build()
    tallies = fuzz(house, inputs=INPUTS, seed=SEED)
    findings = [f"#{one.number} {one.importer}: {one.what}" for tally in tallies for one in tally.findings]
    if max(tally.peak for tally in tallies) > MOST_MEMORY:
        findings = [one for one in findings if "of memory" not in one]
    assert "\n".join(findings) == ""
    assert sum(tally.inputs for tally in tallies) == INPUTS
    # A sample in which everything is refused at the first look would say little.
    assert sum(tally.taken for tally in tallies) > INPUTS / 10
    assert all(tally.refused or tally.importer == "check_names" for tally in tallies)
    papers = {form.name for form in house.forms}
    assert all(tally.taken for tally in tallies if tally.importer in papers)


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_the_same_files_unspoilt_are_taken(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """So that a refusal above is one of the damage, and not of the example."""
    for ways in ("_WORKBOOK", "_ARCHIVE", "_TABLE", "_BACKUP"):
        monkeypatch.setattr(importers, ways, (damage.nothing,))
    monkeypatch.setattr(importers, "_other_value", lambda draw, value: value)
    refused, house = [], importers.build()
    # Not the papers, among whose examples are some that are never taken, and not the interface.
    others = {"scans", "API", *(form.name for form in house.forms)}
    doors = [door for door in importers.importers(house) if door.name not in others]
    for door in doors:
        (tmp_path / door.name).mkdir()
        with transaction.atomic():
            try:
                door.feed(door.make(random.Random(3), tmp_path / door.name))
            except importers.Refused as why:
                refused.append(f"{door.name}: {why}")
            transaction.set_rollback(True)
    assert refused == []


def _rewritten(path: Path, name: str, content: bytes) -> Path:
    parts = packed.parts_of(path.read_bytes())
    parts[name] = content
    path.write_bytes(packed.pack(parts))
    return path


def _sheet_with(tmp_path: Path, cells: bytes) -> Path:
    path = write_workbook(tmp_path / "house.xlsx", HOUSE)
    inside = packed.parts_of(path.read_bytes())["xl/worksheets/sheet1.xml"]
    return _rewritten(
        path, "xl/worksheets/sheet1.xml", inside.replace(b"</sheetData>", cells + b"</sheetData>")
    )


def test_a_row_with_an_immense_number_is_not_counted_up_to(tmp_path: Path) -> None:
    path = _sheet_with(tmp_path, b'<row r="99999999999"><c r="A99999999999"><v>1</v></c></row>')
    with open_source(path) as source, pytest.raises(SheetBroken, match="no sheet has more than"):
        list(source.rows("places"))


def test_a_damaged_cell_of_a_count_sheet_is_told_with_sheet_and_row(tmp_path: Path) -> None:
    path = _sheet_with(tmp_path, b'<row r="9"><c r="A9" t="s"><v>77</v></c></row>')
    with pytest.raises(NotReadable, match=r"sheet places, row .*: it is damaged here"):
        read_sheets(path, factories.NOW.tzinfo)  # type: ignore[arg-type]


def test_a_part_that_cannot_be_unpacked_is_told_as_damage(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "house.xlsx", HOUSE)
    content = bytearray(path.read_bytes())
    # Where the first part begins, as the directory at the end of the file says (APPNOTE 4.3.12).
    at = content.find(b"PK\x01\x02")
    content[at + 42 : at + 46] = b"\xff\xff\xff\xf0"
    path.write_bytes(bytes(content))
    with pytest.raises(NotReadable):
        open_source(path)


@pytest.mark.parametrize("name", ["xl/sharedStrings.xml", "xl/other.xml"])
def test_shared_text_is_bounded_whatever_its_part_is_called(tmp_path: Path, name: str) -> None:
    path = write_workbook(tmp_path / "house.xlsx", HOUSE)
    parts = packed.parts_of(path.read_bytes())
    parts[name] = packed._shared(b"<si/>" * (guard.MOST_SHARED_TAGS + 1))
    packed._register_shared(parts, f"/{name}")
    # Stored, so that it is not the rate of packing that gives it away.
    path.write_bytes(packed.pack(parts, method=zipfile.ZIP_STORED))
    with pytest.raises(NotReadable, match="more pieces of text"):
        open_source(path)


def test_styles_without_end_are_not_taken_into_memory(tmp_path: Path) -> None:
    path = write_workbook(tmp_path / "house.xlsx", HOUSE)
    parts = packed.parts_of(path.read_bytes())
    parts["xl/styles.xml"] += b" " * (guard.MOST_HELD + 1)
    path.write_bytes(packed.pack(parts, method=zipfile.ZIP_STORED))
    with pytest.raises(NotReadable, match=r"styles\.xml would unpack"):
        open_source(path)


def test_a_name_of_signs_without_width_is_told_with_its_cell(db: None, tmp_path: Path) -> None:
    sheets = {**HOUSE, "lots": [{"accession": "G1", "name": "\u200b\u202e", "kind": "group"}]}
    code, _, said = run_load(write_workbook(tmp_path / "house.xlsx", sheets))
    assert code == 1
    assert "sheet lots, row 2, column name: '\\u200b\\u202e' holds nothing that can be seen" in said


def test_a_tab_within_a_name_of_a_classification_is_a_blank(db: None, tmp_path: Path) -> None:
    path = tmp_path / "names.csv"
    path.write_text(
        "taxonID,scientificName,taxonRank,kingdom,family,genus\n"
        'N1,Exemplum unum,species,Animalia,"Ex\templidae",Exemplum\n',
        encoding="utf-8",
    )
    call_command("backbone", "load", str(path), stdout=StringIO(), stderr=StringIO())
    assert BackboneRelease.objects.get().n_names == 1


def test_more_names_than_are_checked_at_once_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "names.txt"
    path.write_text("x\n" * (check_names.MOST_LINES + 1), encoding="utf-8")
    with pytest.raises(CommandError, match="100,001 lines; expected at most 100,000"):
        call_command("check_names", str(path))


@pytest.mark.parametrize(
    "xml",
    [
        '<?xml version="1.0" encoding="idna"?><archive/>',
        '<archive xmlns:a=""><core/></archive>',
        "<b:archive/>",
    ],
)
def test_xml_that_no_parser_takes_is_told_with_its_file(tmp_path: Path, xml: str) -> None:
    (tmp_path / "meta.xml").write_text(xml, encoding="ascii")
    with pytest.raises(ArchiveError, match=r"^meta\.xml.*: not"):
        open_archive(tmp_path)


def test_what_a_backup_says_of_itself_is_bounded(tmp_path: Path) -> None:
    path = tmp_path / "backup.zip"
    path.write_bytes(packed.pack({"manifest.json": b" " * (restore._LARGEST_MANIFEST + 1)}))
    with pytest.raises(NotABackup, match="larger than that of any"):
        restore.unpack(path, tmp_path)


def test_of_a_batch_of_scans_that_is_refused_none_is_kept(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    files = [("page.pdf", b"%PDF-1.7 page"), ("list.csv", b"a,b\n")]
    with pytest.raises(CensusRefused, match="is no picture of the paper"):
        attach_scans(sheet=census.sheets.get(), files=files, by=house.first, now=factories.NOW)
    assert not Document.objects.exists()


@pytest.fixture
def house(db: None) -> TestHouse:
    """A house that is counted."""
    return make_test_house()


def test_a_decision_that_stands_twice_is_told_and_not_taken_twice(tmp_path: Path) -> None:
    path = tmp_path / "decisions.csv"
    row = "CS-26Q3-01 line 3,open_query,2\n"
    path.write_text(f"line,how,n\n{row}{row}", encoding="utf-8")
    _, problems = read_decisions(path)
    assert problems == ["row 3: the same stands in row 2; leave one, or say the sum in it"]
