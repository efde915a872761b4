"""A core without columns of kingdom to genus gets them from the parents, as Catalogue of Life needs."""

from pathlib import Path

from inventory.names.readers.archive import Archive, open_archive

from .archives import cells, meta_xml, pack, tab_lines, table_xml, write

COLUMNS = cells("taxonID|parentNameUsageID|acceptedNameUsageID|taxonRank|scientificName")
ASKED = ("taxonID", "kingdom", "class", "family", "genus")
# Identifiers and order are invented; children stand before their parents, as they do in releases.
ROWS = [
    cells("S2|S1||subspecies|Gadus morhua callarias Linnaeus, 1758"),
    cells("S1|G||species|Gadus morhua Linnaeus, 1758"),
    cells("Y||S1|species|Gadus callarias Linnaeus, 1758"),
    cells("X||G|genus|Morhua"),
    cells("G|U||genus|Gadus Linnaeus, 1758"),
    cells("U|F||unranked|Gadus group"),
    cells("F|O||family|Gadidae"),
    cells("O|C||order|Gadiformes"),
    cells("C|P||class|Teleostei"),
    cells("P|K||phylum|Chordata"),
    cells("K|||kingdom|Animalia"),
]


def archive(folder: Path, *rows: tuple[str, ...]) -> Archive:
    meta = meta_xml(table_xml("Taxon.tsv", COLUMNS))
    return open_archive(write(folder, meta=meta, Taxon_tsv=tab_lines(COLUMNS, *rows)))


def placed(source: Archive) -> dict[str, tuple[str, ...]]:
    return {values[0]: values[1:] for _, values in source.rows_of(source.core, ASKED)}


def test_each_row_gets_what_stands_above_it(tmp_path: Path) -> None:
    found = placed(archive(tmp_path / "a", *ROWS))
    whole = ("Animalia", "Teleostei", "Gadidae", "Gadus")
    assert {key: found[key] for key in ("S1", "S2", "G")} == dict.fromkeys(("S1", "S2", "G"), whole)
    assert found["F"] == found["U"] == ("Animalia", "Teleostei", "Gadidae", "")
    assert found["K"] == ("Animalia", "", "", "")


def test_a_synonym_gets_none_since_it_has_no_parent(tmp_path: Path) -> None:
    found = placed(archive(tmp_path / "a", *ROWS))
    assert found["Y"] == found["X"] == ("", "", "", "")


def test_a_genus_of_two_homonyms_is_not_guessed(tmp_path: Path) -> None:
    found = placed(archive(tmp_path / "a", *ROWS, cells("G2|K||genus|Gadus Other, 1900")))
    assert found["S2"] == ("", "", "", "")
    assert found["S1"] == ("Animalia", "Teleostei", "Gadidae", "Gadus")


def test_parents_in_a_circle_or_that_are_not_there_end(tmp_path: Path) -> None:
    rows = [
        cells("A|B||genus|Aaa"),
        cells("B|A||family|Bbb"),
        cells("C|Z||genus|Ccc"),
        cells("D|D||class|Ddd"),
    ]
    found = placed(archive(tmp_path / "a", *rows))
    assert found["A"][2:] == ("Bbb", "Aaa")
    assert found["C"] == ("", "", "", "Ccc")
    assert found["D"] == ("", "Ddd", "", "")


def test_a_core_with_columns_of_its_own_is_left_as_it_is(tmp_path: Path) -> None:
    columns = (*COLUMNS, "family")
    rows = [(*row, "") for row in ROWS]
    meta = meta_xml(table_xml("Taxon.tsv", columns))
    source = open_archive(write(tmp_path / "a", meta=meta, Taxon_tsv=tab_lines(columns, *rows)))
    assert set(placed(source).values()) == {("", "", "", "")}


def test_progress_counts_both_readings_and_remarks_are_made_once(tmp_path: Path) -> None:
    archive(tmp_path / "a", *ROWS)
    (tmp_path / "a" / "Taxon.tsv").write_text(tab_lines(*ROWS), encoding="utf-8")
    source = open_archive(pack(tmp_path / "a"))
    assert len(placed(source)) == len(ROWS)
    assert len(source.remarks) == 1  # on the header line that is not there
    assert source.bytes_read == source.bytes_total == 2 * (tmp_path / "a" / "Taxon.tsv").stat().st_size
