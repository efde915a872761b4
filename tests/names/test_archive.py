"""Archives of every layout a house may fetch are read by their meta.xml, never by column position.

The layouts of GBIF and Catalogue of Life are those of their published archives; those of WoRMS and
ITIS are written from memory of theirs. The rows are written by hand, with names of real animals.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import pytest

from inventory.names.readers.archive import Archive, ArchiveError, open_archive

from .archives import (
    DISTRIBUTION,
    GBIF_COLUMNS,
    TERM,
    VERNACULAR,
    cells,
    csv_lines,
    meta_xml,
    pack,
    tab_lines,
    table_xml,
    write,
)

ASKED = ("taxonID", "parentNameUsageID", "acceptedNameUsageID", "scientificName", "taxonRank", "class")

COD = cells(
    "2415|ds|10|||Gadus morhua Linnaeus, 1758|Linnaeus, 1758|Gadus morhua|Gadus|morhua||species||Syst. Nat."
    "|accepted|||Animalia|Chordata|Actinopterygii|Gadiformes|Gadidae|Gadus"
)
CALLARIAS = cells(
    "2416|ds|10|2415||Gadus callarias Linnaeus, 1758|Linnaeus, 1758|Gadus callarias|Gadus|callarias||species"
    "|||synonym|||Animalia|Chordata|Actinopterygii|Gadiformes|Gadidae|Gadus"
)
ANIMALIA = cells("1|ds||||Animalia||Animalia|Animalia|||kingdom|||accepted|||Animalia|||||")
GBIF_ANSWER: list[tuple[str, ...]] = [
    ("2415", "10", "", "Gadus morhua Linnaeus, 1758", "species", "Actinopterygii"),
    ("2416", "10", "2415", "Gadus callarias Linnaeus, 1758", "species", "Actinopterygii"),
]
VERNACULAR_COLUMNS = cells("taxonID|vernacularName|language|country|countryCode|sex|lifeStage|source")
# The identifier is told as <id> and not as a field: the archive of GBIF does so.
GBIF_META = meta_xml(
    table_xml("Taxon.tsv", ("", *GBIF_COLUMNS[1:])),
    table_xml("VernacularName.tsv", ("", *VERNACULAR_COLUMNS[1:]), kind="extension", row_type=VERNACULAR),
)
COMMON = ("2415", "Atlantic cod", "en", "", "", "", "", "FishBase")


class Layout(NamedTuple):
    """What an archive holds, and what must come out of it for ``ASKED``."""

    files: dict[str, str]
    answer: Sequence[tuple[str, ...]]
    common: Sequence[tuple[str, ...]]


def gbif() -> Layout:
    files = {
        "meta": GBIF_META,
        "Taxon_tsv": tab_lines(GBIF_COLUMNS, COD, CALLARIAS),
        "VernacularName_tsv": tab_lines(VERNACULAR_COLUMNS, COMMON),
    }
    return Layout(files, GBIF_ANSWER, [("2415", "Atlantic cod", "en")])


def catalogue_of_life() -> Layout:
    """Other columns in another order, headings with a prefix, synonyms without a parent."""
    columns = cells(
        "taxonID|parentNameUsageID|acceptedNameUsageID|originalNameUsageID|datasetID|taxonomicStatus|taxonRank"
        "|scientificName|scientificNameAuthorship|notho"
    )
    rows = [
        cells("6GDS8|4KL|||2144|accepted|species|Gadus morhua Linnaeus, 1758|Linnaeus, 1758|"),
        cells("Q2M4||6GDS8||2144|synonym|species|Gadus callarias Linnaeus, 1758|Linnaeus, 1758|"),
    ]
    files = {
        "meta": meta_xml(
            table_xml("Taxon.tsv", columns),
            table_xml(
                "VernacularName.tsv", ("", "http://purl.org/dc/terms/language", "vernacularName"),
                kind="extension", row_type=VERNACULAR,
            ),
            table_xml("Distribution.tsv", ("", "locality"), kind="extension", row_type=DISTRIBUTION),
        ),
        "Taxon_tsv": tab_lines([f"dwc:{term}" for term in columns], *rows),
        "VernacularName_tsv": tab_lines(
            ("dwc:taxonID", "dcterms:language", "dwc:vernacularName"), ("6GDS8", "fra", "Morue")
        ),
        "Distribution_tsv": tab_lines(("dwc:taxonID", "dwc:locality"), ("6GDS8", "North Sea")),
    }  # fmt: skip
    answer = [
        ("6GDS8", "4KL", "", "Gadus morhua Linnaeus, 1758", "species", ""),
        ("Q2M4", "", "6GDS8", "Gadus callarias Linnaeus, 1758", "species", ""),
    ]
    return Layout(files, answer, [("6GDS8", "Morue", "fra")])


def worms() -> Layout:
    """Identifiers are LSIDs, the author stands apart, an accepted name names itself as accepted."""
    cod = "urn:lsid:marinespecies.org:taxname:126436"
    callarias = "urn:lsid:marinespecies.org:taxname:126437"
    columns = cells(
        "|taxonID|scientificNameID|acceptedNameUsageID|parentNameUsageID|scientificName"
        "|scientificNameAuthorship|class|taxonRank|taxonomicStatus"
    )
    genus = "urn:lsid:marinespecies.org:taxname:125732"
    rows = [
        (cod, cod, cod, cod, genus, *cells("Gadus morhua|Linnaeus, 1758|Teleostei|Species|accepted")),
        (callarias, callarias, callarias, cod, "",
         *cells("Gadus callarias|Linnaeus, 1758|Teleostei|Species|unaccepted")),
    ]  # fmt: skip
    files = {
        "meta": meta_xml(table_xml("taxon.txt", columns)),
        "taxon_txt": tab_lines(("id", *columns[1:]), *rows),
    }
    answer = [
        (cod, genus, cod, "Gadus morhua", "Species", "Teleostei"),
        (callarias, "", cod, "Gadus callarias", "Species", "Teleostei"),
    ]
    return Layout(files, answer, [])


def itis() -> Layout:
    """Values in quotes, the namespace forgotten, no header line."""
    columns = cells("scientificName|taxonID|parentNameUsageID|acceptedNameUsageID|taxonRank|kingdom")
    rows = [
        cells("Gadus morhua Linnaeus, 1758|164712|164711||Species|Animalia"),
        cells('Gadus callarias "Linnaeus"|164713||164712|Species|Animalia'),
    ]
    core = table_xml("taxa.csv", columns, separator=",", quote='"', header=0, identifier=1)
    files = {
        "meta": meta_xml(core).replace(' xmlns="http://rs.tdwg.org/dwc/text/"', ""),
        "taxa_csv": csv_lines(rows),
    }
    answer = [
        ("164712", "164711", "", "Gadus morhua Linnaeus, 1758", "Species", ""),
        ("164713", "", "164712", 'Gadus callarias "Linnaeus"', "Species", ""),
    ]
    return Layout(files, answer, [])


LAYOUTS = [gbif, catalogue_of_life, worms, itis]


def names(archive: Archive) -> list[tuple[str, ...]]:
    return [values for _, values in archive.rows_of(archive.core, ASKED)]


def common(archive: Archive) -> list[tuple[str, ...]]:
    table = archive.table(VERNACULAR)
    if table is None:
        return []
    return [values for _, values in archive.rows_of(table, ("id", "vernacularName", "language"))]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_each_layout_is_read_by_its_terms(layout: Callable[[], Layout], tmp_path: Path) -> None:
    written = layout()
    archive = open_archive(write(tmp_path / "a", **written.files))
    assert names(archive) == written.answer
    assert common(archive) == written.common
    assert archive.remarks == []


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("within", ["", "backbone"])
def test_a_zip_is_read_as_its_folder_is(layout: Callable[[], Layout], within: str, tmp_path: Path) -> None:
    folder = write(tmp_path / "a", **layout().files)
    unpacked, packed = open_archive(folder), open_archive(pack(folder, within))
    assert names(packed) == names(unpacked)
    assert common(packed) == common(unpacked)
    assert packed.fingerprint() == unpacked.fingerprint()
    assert packed.bytes_total == unpacked.bytes_total


def test_rows_carry_the_number_of_their_line(tmp_path: Path) -> None:
    archive = open_archive(write(tmp_path / "a", **gbif().files))
    assert [line for line, _ in archive.rows_of(archive.core, ("taxonID",))] == [2, 3]
    assert [(row.line, row["taxonID"] or row["id"]) for row in archive.rows(archive.core)] == [
        (2, "2415"),
        (3, "2416"),
    ]


def test_a_value_over_several_lines_counts_them(tmp_path: Path) -> None:
    core = table_xml("t.csv", ("taxonID", "taxonRemarks"), separator=",", quote='"')
    text = 'taxonID,taxonRemarks\n1,"two\nlines"\n2,one\n'
    archive = open_archive(write(tmp_path / "a", meta=meta_xml(core), t_csv=text))
    rows = list(archive.rows_of(archive.core, ("taxonID", "taxonRemarks")))
    assert rows == [(2, ("1", "two\nlines")), (4, ("2", "one"))]


def test_a_term_the_table_does_not_have_is_blank(tmp_path: Path) -> None:
    archive = open_archive(write(tmp_path / "a", **gbif().files))
    rows = list(archive.rows_of(archive.core, ("vernacularName", "id", "taxonID")))
    assert rows[0] == (2, ("", "2415", "2415"))


def test_a_default_fills_blanks_and_stands_for_a_column_that_is_not_there(tmp_path: Path) -> None:
    more = (
        f'<field term="{TERM}kingdom" default="Animalia"/>'
        f'<field index="1" term="{TERM}phylum" default="Chordata"/>'
    )
    core = table_xml("t.tsv", ("taxonID",), header=0, more=more)
    text = "1\tMollusca\n2\t\n"
    archive = open_archive(write(tmp_path / "a", meta=meta_xml(core), t_tsv=text))
    rows = [values for _, values in archive.rows_of(archive.core, ("kingdom", "taxonID", "phylum"))]
    assert rows == [("Animalia", "1", "Mollusca"), ("Animalia", "2", "Chordata")]


def test_a_promised_header_line_that_is_none_is_data(tmp_path: Path) -> None:
    """So GBIF's own extracts come."""
    files = {**gbif().files, "Taxon_tsv": tab_lines(COD, CALLARIAS)}
    archive = open_archive(write(tmp_path / "a", **files))
    assert names(archive) == GBIF_ANSWER
    assert archive.remarks == [
        "Taxon.tsv: meta.xml promises a header line, there is none; line 1 is read as data"
    ]


def test_a_header_line_that_nobody_promised_is_left_out(tmp_path: Path) -> None:
    files = {**gbif().files, "meta": GBIF_META.replace('ignoreHeaderLines="1"', 'ignoreHeaderLines="0"')}
    archive = open_archive(write(tmp_path / "a", **files))
    assert names(archive) == GBIF_ANSWER
    assert common(archive) == gbif().common
    assert len(archive.remarks) == 2
    assert "promises no header line, there is one" in archive.remarks[0]


def test_headings_of_the_publishers_own_making_stay_a_header_line(tmp_path: Path) -> None:
    core = table_xml("t.tsv", ("taxonID", "scientificName"))
    text = "Aphia ID\tName\n1\tGadus morhua\n"
    archive = open_archive(write(tmp_path / "a", meta=meta_xml(core), t_tsv=text))
    assert [line for line, _ in archive.rows_of(archive.core, ("taxonID",))] == [2]
    assert archive.remarks == []


def test_indonesian_is_a_language_and_no_heading(tmp_path: Path) -> None:
    files = {**gbif().files, "VernacularName_tsv": tab_lines(("2415", "Ikan kod", "id", "", "", "", "", ""))}
    assert common(open_archive(write(tmp_path / "a", **files))) == [("2415", "Ikan kod", "id")]


def test_headings_that_contradict_meta_xml_are_remarked_on(tmp_path: Path) -> None:
    core = table_xml("t.tsv", ("taxonID", "scientificName", "taxonRank"))
    text = "taxonID\ttaxonRank\tscientificName\n1\tGadus morhua\tspecies\n"
    archive = open_archive(write(tmp_path / "a", meta=meta_xml(core), t_tsv=text))
    rows = [values for _, values in archive.rows_of(archive.core, ("scientificName",))]
    assert rows == [("Gadus morhua",)]
    assert [
        remark for remark in archive.remarks if 'column 2 is "taxonRank", meta.xml says scientific' in remark
    ]


@pytest.mark.parametrize(
    "text",
    [
        "taxonID\tscientificName\r\n1\tGadus morhua\r\n",
        "\ufefftaxonID\tscientificName\n1\tGadus morhua",
        "taxonID\tscientificName\n\n 1 \t Gadus morhua\u00a0\n\n",
    ],
    ids=["windows", "byte order mark", "blanks"],
)
def test_what_editors_do_to_a_table_does_no_harm(text: str, tmp_path: Path) -> None:
    core = table_xml("t.tsv", ("taxonID", "scientificName"))
    archive = open_archive(write(tmp_path / "a", meta=meta_xml(core), t_tsv=text))
    rows = [values for _, values in archive.rows_of(archive.core, ("taxonID", "scientificName"))]
    assert rows == [("1", "Gadus morhua")]


def test_progress_runs_from_nothing_to_the_whole(tmp_path: Path) -> None:
    folder = write(tmp_path / "a", **gbif().files)
    (folder / "Taxon.tsv").write_text(tab_lines(GBIF_COLUMNS, *[COD] * 2_000), encoding="utf-8")
    for path in (folder, pack(folder)):
        archive = open_archive(path)
        assert archive.bytes_read == 0
        rows = archive.rows_of(archive.core, ("taxonID",))
        next(rows)
        assert 0 < archive.bytes_read < archive.bytes_total / 2
        assert sum(1 for _ in rows) == 1_999
        assert archive.bytes_read == (folder / "Taxon.tsv").stat().st_size
        common(archive)
        assert archive.bytes_read == archive.bytes_total


def test_title_date_and_licence_come_from_the_metadata_document(tmp_path: Path) -> None:
    eml = """<eml:eml xmlns:eml="eml://ecoinformatics.org/eml-2.1.1"><dataset><title>A  backbone</title>
    <pubDate>2023-08-28</pubDate><intellectualRights><para>Under <ulink url="x">
    <citetitle>CC BY 4.0</citetitle></ulink></para></intellectualRights><distribution><online><url>https://example.org</url></online>
    </distribution></dataset></eml:eml>"""
    meta = GBIF_META.replace("<archive", '<archive metadata="eml.xml"')
    about = open_archive(write(tmp_path / "a", **{**gbif().files, "meta": meta, "eml_xml": eml})).about
    assert (about.title, about.version, about.licence) == ("A backbone", "2023-08-28", "Under CC BY 4.0")
    assert about.source == "https://example.org"


@pytest.mark.parametrize("eml", [None, "<eml", '<!DOCTYPE a [<!ENTITY b "c">]><eml>&b;</eml>'])
def test_names_are_read_without_a_metadata_document_that_can_be_read(eml: str | None, tmp_path: Path) -> None:
    meta = GBIF_META.replace("<archive", '<archive metadata="eml.xml"')
    files = {**gbif().files, "meta": meta, **({"eml_xml": eml} if eml else {})}
    archive = open_archive(write(tmp_path / "a", **files))
    assert names(archive) == GBIF_ANSWER
    assert archive.about.title == ""
    assert archive.remarks[0].startswith("eml.xml")


@pytest.mark.parametrize("name", ["Taxon.tsv", "Taxon.txt"])
def test_a_table_by_itself_is_read_by_its_headings(name: str, tmp_path: Path) -> None:
    order = tuple(reversed(GBIF_COLUMNS))
    text = tab_lines(order, tuple(reversed(COD)), tuple(reversed(CALLARIAS)))
    (tmp_path / name).write_text(text, encoding="utf-8")
    archive = open_archive(tmp_path / name)
    assert names(archive) == GBIF_ANSWER
    assert archive.remarks == []
    assert archive.bytes_total == archive.bytes_read == len(text.encode())


@pytest.mark.parametrize("separator", [",", ";"])
def test_a_csv_by_itself_may_have_quotes_and_columns_of_its_own(separator: str, tmp_path: Path) -> None:
    rows = [
        ("dwc:taxonID", "tank", "Scientific\u00a0name", "scientificName"),
        ("1", "T1", "x", "Gadus, morhua"),
    ]
    (tmp_path / "t.csv").write_text(csv_lines(rows, separator), encoding="utf-8")
    archive = open_archive(tmp_path / "t.csv")
    assert list(archive.rows_of(archive.core, ("taxonID", "scientificName"))) == [(2, ("1", "Gadus, morhua"))]
    assert archive.remarks == ["t.csv: no term of Darwin Core, so not read: tank, Scientific\u00a0name"]


def test_without_headings_the_order_of_gbif_is_assumed_and_said(tmp_path: Path) -> None:
    (tmp_path / "Taxon.tsv").write_text(tab_lines(COD, CALLARIAS), encoding="utf-8")
    archive = open_archive(tmp_path / "Taxon.tsv")
    assert names(archive) == GBIF_ANSWER
    assert archive.remarks == [
        "Taxon.tsv: no header line; read in the order in which GBIF publishes its backbone"
    ]


def test_the_row_of_animalia_is_no_header_line(tmp_path: Path) -> None:
    (tmp_path / "Taxon.tsv").write_text(tab_lines(ANIMALIA, COD), encoding="utf-8")
    assert names(open_archive(tmp_path / "Taxon.tsv"))[0] == ("1", "", "", "Animalia", "kingdom", "")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (tab_lines(COD[:-1]), "no column names, and 22 columns"),
        ("taxonID\tkingdom\n1\tAnimalia\n", "expected columns taxonID and scientificName or canonicalName"),
        ("taxonID\tscientificName\ttaxonID\n", "column 3 is taxonID, as column 1 is"),
        ("", "found a blank one"),
    ],
)
def test_a_table_by_itself_that_says_too_little_is_refused(text: str, what: str, tmp_path: Path) -> None:
    (tmp_path / "Taxon.tsv").write_text(text, encoding="utf-8")
    with pytest.raises(ArchiveError, match=rf"Taxon\.tsv, line 1: .*{what}"):
        open_archive(tmp_path / "Taxon.tsv")
