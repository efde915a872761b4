"""Archives that are broken, cut off or made to do harm are refused with file and line."""

import zipfile
from pathlib import Path

import pytest

from inventory.names.readers import files as zip_limits
from inventory.names.readers.archive import VERNACULAR, ArchiveError, open_archive

from .archives import meta_xml, pack, table_xml, write

COLUMNS = ("taxonID", "scientificName", "taxonRank")
META = meta_xml(table_xml("Taxon.tsv", COLUMNS))
HEADER = "taxonID\tscientificName\ttaxonRank\n"
COD = "1\tGadus morhua\tspecies\n"


def read_all(path: Path) -> int:
    archive = open_archive(path)
    return sum(1 for _ in archive.rows_of(archive.core, COLUMNS))


def refusal(path: Path) -> str:
    with pytest.raises(ArchiveError) as error:
        read_all(path)
    return str(error.value)


@pytest.mark.parametrize(
    ("lines", "where", "what"),
    [
        (COD + "2\tGadus\n", "line 3", "expected 3 fields as in the first line, found 2"),
        (COD + "2\tGadus\tater\tspecies\n", "line 3", "expected 3 fields as in the first line, found 4"),
        (COD + COD + "\n2\tGad", "line 5", "expected 3 fields"),
        (COD * 40_000 + "2\tGadus\n", "line 40002", "expected 3 fields"),
        (COD + "2\tGadus\0 morhua\tspecies\n", "line 3", "a NUL byte"),
        (COD * 40_000 + "\n\0\n", "line 40003", "a NUL byte"),
        (COD + "2\tGadus m\udcf6rhua\tspecies\n", "line 3", "not UTF-8"),
        (COD * 40_000 + "2\tGadus m\udcf6rhua\tspecies\n", "line 40002", "byte 0xf6"),
        (COD + "2\tGadus \udcc3", "line 3", "not UTF-8"),
        (COD + "x" * 4_100_000, "line 3", "longer than"),
    ],
    ids=[
        "short", "long", "cut off", "short far down", "NUL", "NUL far down", "Latin-1", "Latin-1 far down",
        "half a letter at the end", "a line without end",
    ],
)  # fmt: skip
def test_a_fault_in_a_table_is_told_with_its_line(lines: str, where: str, what: str, tmp_path: Path) -> None:
    text = (HEADER + lines).encode("utf-8", "surrogateescape")
    folder = write(tmp_path / "a", meta=META, Taxon_tsv=text)
    for path in (folder, pack(folder)):
        assert refusal(path).startswith(f"Taxon.tsv, {where}: ")
        assert what in refusal(path)


@pytest.mark.parametrize(
    ("lines", "where", "what"),
    [
        ('"1","Gadus"\n', "line 2", "expected 3 fields"),
        ('"1","Gadus\nmorhua","species"\n"2","Gadus" ater","species"\n', "line 4", "not a table of fields"),
        ('"1","Gadus morhua","species"\n"2","Gadus\n', "line 3", "unexpected end of data"),
        ('"1","Gadus' + "\n" * 140_000, "line 2", "field larger than field limit"),
        ('"1","Gadus\n\0","species"\n', "line 3", "a NUL byte"),
    ],
)
def test_a_fault_in_a_table_with_quotes_is_told_with_its_line(
    lines: str, where: str, what: str, tmp_path: Path
) -> None:
    meta = meta_xml(table_xml("Taxon.csv", COLUMNS, separator=",", quote='"'))
    folder = write(tmp_path / "a", meta=meta, Taxon_csv=HEADER.replace("\t", ",") + lines)
    assert refusal(folder).startswith(f"Taxon.csv, {where}: ")
    assert what in refusal(folder)


def test_fewer_columns_than_meta_xml_tells_are_refused(tmp_path: Path) -> None:
    folder = write(tmp_path / "a", meta=META, Taxon_tsv="taxonID\tscientificName\n1\tGadus morhua\n")
    assert refusal(folder) == "Taxon.tsv, line 1: expected 3 fields as meta.xml says, found 2"


CORE = table_xml("Taxon.tsv", COLUMNS)


@pytest.mark.parametrize(
    ("meta", "what"),
    [
        ("<archive", r"meta\.xml, line 1: not well-formed"),
        ("<archive/>", "no Darwin Core Archive"),
        (meta_xml(table_xml("Taxon.tsv", COLUMNS, row_type="http://rs.tdwg.org/dwc/terms/Occurrence")),
         "expected a core of .*Taxon, found .*Occurrence"),
        (meta_xml(table_xml("None.tsv", COLUMNS)), r"None\.tsv: expected in .*, not found"),
        (meta_xml(CORE, table_xml("None.tsv", ("", "vernacularName"), kind="extension", row_type=VERNACULAR)),
         r"None\.tsv: expected in .*, not found"),
        (meta_xml(CORE.replace("<location>Taxon.tsv</location>", "")), "names no file"),
        (meta_xml(CORE.replace("</files>", "<location>More.tsv</location></files>")), "is split over"),
        (meta_xml(CORE.replace("Taxon.tsv", "../Taxon.tsv")), "points outside the archive"),
        (meta_xml(CORE.replace("Taxon.tsv", "/etc/passwd")), "points outside the archive"),
        (meta_xml(CORE.replace("Taxon.tsv", "https://example.org/Taxon.tsv")), "points outside the archive"),
        (meta_xml(CORE.replace('index="1"', 'index="one"')), 'not a whole number: scientificName has "one"'),
        (meta_xml(CORE.replace('index="1"', 'index="-1"')), "not a whole number"),
        (meta_xml(CORE.replace("taxonRank", "scientificName")), "scientificName is given to two columns"),
        (meta_xml(CORE.replace('"UTF-8"', '"UTF-88"')), 'no encoding is called "UTF-88"'),
        (meta_xml(CORE.replace('"UTF-8"', '"hex"')), 'no encoding is called "hex"'),
        (meta_xml(CORE.replace('"\\t"', '""')), "cannot tell fields apart"),
        (meta_xml(table_xml("Taxon.tsv", COLUMNS[1:], identifier=None)), "no column is the id"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><archive>&b;</archive>', r"meta\.xml, line 1: has declarations"),
        ('<!DOCTYPE a SYSTEM "file:///etc/passwd"><archive/>', "has declarations"),
        ("<archive>" + " " * 5_000_001 + "</archive>", "no such document is that long"),
    ],
)  # fmt: skip
def test_a_meta_xml_that_misleads_is_refused(meta: str, what: str, tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=what):
        open_archive(write(tmp_path / "a", meta=meta, Taxon_tsv=HEADER + COD))


def test_declarations_are_found_in_any_encoding(tmp_path: Path) -> None:
    meta = '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE a [<!ENTITY b "c">]><archive>&b;</archive>'
    folder = write(tmp_path / "a", meta=meta.encode("utf-16"), Taxon_tsv=HEADER + COD)
    assert "has declarations" in refusal(folder)


def test_a_folder_without_meta_xml_is_refused(tmp_path: Path) -> None:
    assert refusal(write(tmp_path / "a", Taxon_tsv=HEADER)).startswith("meta.xml: expected in ")
    assert refusal(pack(tmp_path / "a")) == "meta.xml: expected in a.zip, not found"


def test_a_path_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.zip").endswith("there is no such file or folder")


def test_a_link_that_leads_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret.tsv").write_text(HEADER + COD, encoding="utf-8")
    folder = write(tmp_path / "a", meta=META)
    (folder / "Taxon.tsv").symlink_to(tmp_path / "secret.tsv")
    assert "not found" in refusal(folder)


@pytest.fixture
def packed(tmp_path: Path) -> Path:
    return pack(write(tmp_path / "a", meta=META, Taxon_tsv=HEADER + COD * 5_000))


def test_a_zip_that_is_cut_off_is_told_as_such(packed: Path) -> None:
    assert read_all(packed) == 5_000
    packed.write_bytes(packed.read_bytes()[:-200])
    assert "a zip file that is cut off" in refusal(packed)


def test_a_zip_whose_data_are_damaged_is_told_with_the_file(packed: Path) -> None:
    with zipfile.ZipFile(packed) as file:
        place = file.getinfo("Taxon.tsv").header_offset + 60
    data = bytearray(packed.read_bytes())
    data[place : place + 30] = b"\xff" * 30
    packed.write_bytes(data)
    assert refusal(packed).startswith("Taxon.tsv, line 1: cannot be read on: ")


def test_a_zip_with_a_wrong_check_sum_is_told_with_the_file(packed: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(packed) as file:
        member = file.getinfo("Taxon.tsv")
    data = packed.read_bytes()
    packed.write_bytes(data.replace(member.CRC.to_bytes(4, "little"), b"\1\2\3\4"))
    assert "Bad CRC-32 for file 'Taxon.tsv'" in refusal(packed)


@pytest.mark.parametrize(
    "name", ["../evil.tsv", "/etc/evil.tsv", "..\\evil.tsv", "C:/evil.tsv", "a/../../evil.tsv"]
)
def test_a_zip_with_names_that_point_outside_is_refused_whole(name: str, packed: Path) -> None:
    with zipfile.ZipFile(packed, "a") as file:
        file.writestr(name, "x")
    assert "points outside the archive" in refusal(packed)


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_zip_that_holds_a_file_twice_is_refused(packed: Path) -> None:
    with zipfile.ZipFile(packed, "a") as file:
        file.writestr("Taxon.tsv", HEADER)
    assert "Taxon.tsv stands in it twice" in refusal(packed)


def test_a_zip_with_the_table_in_two_folders_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "two.zip"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("meta.xml", META)
        file.writestr("a/Taxon.tsv", HEADER)
        file.writestr("b/Taxon.tsv", HEADER)
    assert "more than once: a/Taxon.tsv, b/Taxon.tsv" in refusal(path)


def test_a_zip_bomb_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("meta.xml", META)
        with file.open("Taxon.tsv", "w") as table:
            for _ in range(70):
                table.write(b"\n" * (1 << 20))
    assert "no list of names packs more than 200 to one" in refusal(path)


def test_a_file_larger_than_any_list_of_names_is_refused(
    packed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(zip_limits, "LARGEST_FILE", 100_000)
    assert "at most 100,000 are read" in refusal(packed)


def test_a_size_that_the_zip_lies_about_is_not_read_past(packed: Path) -> None:
    """The directory says 100 bytes: no more than these come, and the check sum tells the lie."""
    with zipfile.ZipFile(packed) as file:
        size = file.getinfo("Taxon.tsv").file_size
    packed.write_bytes(packed.read_bytes().replace(size.to_bytes(4, "little"), (100).to_bytes(4, "little")))
    assert "Bad CRC-32" in refusal(packed)


def test_a_zip_with_a_password_is_refused(packed: Path) -> None:
    data = bytearray(packed.read_bytes())
    with zipfile.ZipFile(packed) as file:
        local = file.getinfo("Taxon.tsv").header_offset
    central = data.rindex(b"PK\x01\x02", 0, data.rindex(b"PK\x05\x06"))
    for place in (local + 6, data.index(b"PK\x01\x02") + 8, central + 8):
        data[place] |= 1
    packed.write_bytes(data)
    assert "encrypted" in refusal(packed)
