"""Loading a release from a Darwin Core Archive."""

import shutil
import zipfile
from io import StringIO
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from inventory.names.actions.backbone import load_release
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, RangeCaution
from inventory.names.queries.store import current_release, release_names
from inventory.names.readers.archive import ArchiveError
from inventory.names.rules.verdicts import Usage
from inventory.people.rules.roles import Role
from tests.factories import NOW, make_person

from .stores import BACKBONE

pytestmark = pytest.mark.django_db

GBIF_META = """<archive xmlns="http://rs.tdwg.org/dwc/text/">
<core encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy=""
 ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Taxon">
<files><location>Taxon.tsv</location></files><id index="2"/>
<field index="0" term="http://rs.tdwg.org/dwc/terms/scientificName"/>
<field index="1" term="http://rs.tdwg.org/dwc/terms/acceptedNameUsageID"/>
<field index="3" term="http://rs.tdwg.org/dwc/terms/taxonomicStatus"/>
<field index="4" term="http://rs.tdwg.org/dwc/terms/taxonRank"/>
<field default="Animalia" term="http://rs.tdwg.org/dwc/terms/kingdom"/>
</core></archive>"""
HEADER = "scientificName\tacceptedNameUsageID\ttaxonID\ttaxonomicStatus\ttaxonRank\n"
COD = 'Gadus "morhua" Linnaeus, 1758\t\tQ2\taccepted\tSPECIES\n'.replace('"', "")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the demo's backbone to spoil."""
    return Path(shutil.copytree(BACKBONE, tmp_path / "backbone"))


def usages(release: BackboneRelease, *taxon_ids: str) -> dict[str, Usage]:
    return release_names(release).identified(taxon_ids)


def archive(folder: Path, lines: str, meta: str = GBIF_META) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "meta.xml").write_text(meta, encoding="utf-8")
    (folder / "Taxon.tsv").write_text(lines, encoding="utf-8")
    return folder


def test_the_demo_backbone_is_loaded_whole() -> None:
    loaded = load_release(BACKBONE, now=NOW)
    assert loaded.release.is_current
    assert loaded.release.has_synonyms
    assert loaded.usages == loaded.release.n_names > 400
    assert loaded.synonyms >= 8
    assert len(release_names(loaded.release).called(["dogfish"])["dogfish"]) == 3
    assert RangeCaution.objects.get().right_name == "Maja brachydactyla"


def test_a_second_load_changes_nothing() -> None:
    first = load_release(BACKBONE, now=NOW)
    again = load_release(BACKBONE, now=NOW)
    assert (first.already, again.already) == (False, True)
    assert BackboneRelease.objects.get() == first.release == again.release
    assert again.usages == first.usages


def test_a_zip_is_read_as_its_folder_is(copy: Path, tmp_path: Path) -> None:
    packed = tmp_path / "backbone.zip"
    with zipfile.ZipFile(packed, "w") as file:
        for path in copy.iterdir():
            file.write(path, f"release/{path.name}")
    from_zip = load_release(packed, now=NOW)
    assert load_release(copy, now=NOW).already
    assert from_zip.usages > 400


def test_columns_are_read_by_their_terms_in_any_order(tmp_path: Path) -> None:
    lines = HEADER + COD + "Morhua vulgaris Fleming, 1828\tQ2\tQ9\tsynonym\tSPECIES\n"
    release = load_release(archive(tmp_path / "a", lines), now=NOW).release
    found = usages(release, "Q2", "Q9")
    cod = found["Q2"]
    assert (cod.canonical_name, cod.authorship) == ("Gadus morhua", "Linnaeus, 1758")
    assert (cod.rank, cod.classification.kingdom) == ("species", "Animalia")
    assert found["Q9"].accepted == cod
    assert release.name == "a"


def test_a_promised_header_line_that_is_none_is_read_as_data(tmp_path: Path) -> None:
    animals = "Animalia\t\tN\taccepted\tkingdom\n"
    loaded = load_release(archive(tmp_path / "a", animals + COD), now=NOW)
    assert loaded.usages == 2
    assert "promises a header line, there is none" in loaded.remarks[0]


def test_a_code_that_is_no_name_is_kept_as_it_is(tmp_path: Path) -> None:
    lines = HEADER + COD + "BOLD:AAA1234\t\tB1\tdoubtful\tunranked\n"
    release = load_release(archive(tmp_path / "a", lines), now=NOW).release
    assert usages(release, "B1")["B1"].canonical_name == "BOLD:AAA1234"
    assert list(release_names(release).named(["BOLD:AAA1234", "BOLD:AAA9999"])) == ["BOLD:AAA1234"]


def test_chained_synonyms_lead_to_the_accepted_name(tmp_path: Path) -> None:
    lines = HEADER + COD + "Morhua una\tQ2\tA\tsynonym\tspecies\nMorhua dua\tA\tB\tsynonym\tspecies\n"
    release = load_release(archive(tmp_path / "a", lines), now=NOW).release
    assert {usage.target.taxon_id for usage in usages(release, "A", "B", "Q2").values()} == {"Q2"}
    assert [usage.taxon_id for usage in release_names(release).synonyms_of(["Q2"])["Q2"]] == ["A", "B"]


@pytest.mark.parametrize(
    ("lines", "where", "what"),
    [
        (COD + "Gadus\tonly two\n", "line 3", "expected 5 fields"),
        (COD + COD, "line 3", '"Q2" stands on line 2 already'),
        (COD + "Gadus ater\tQX\tQ3\tsynonym\tspecies\n", "line 3", '"QX" is no taxonID'),
        (COD + "Gadus ater\t\tQ3\theterotypic synonym\tspecies\n", "line 3", "of what?"),
        (COD + "Gadus ater\t\t\taccepted\tspecies\n", "line 3", "no taxonID"),
        ("Gadus a\tB\tA\tsynonym\tspecies\nGadus b\tA\tB\tsynonym\tspecies\n", "line 2", "circle"),
        (COD + "\t\tQ3\taccepted\tspecies\n", "line 3", "neither scientificName"),
        ("", "Taxon.tsv", "no names"),
    ],
)
def test_what_is_wrong_is_named_with_file_and_line_and_nothing_stays(
    lines: str, where: str, what: str, tmp_path: Path
) -> None:
    before = load_release(BACKBONE, now=NOW).release
    with pytest.raises(ArchiveError) as error:
        load_release(archive(tmp_path / "a", HEADER + lines), now=NOW)
    assert "Taxon.tsv" in str(error.value)
    assert where in str(error.value)
    assert what in str(error.value)
    assert BackboneRelease.objects.get() == current_release() == before
    assert release_names(before).named(["Gadus morhua"])
    assert not list(Path(settings.BACKBONE_FOLDER).glob("*.part"))


@pytest.mark.parametrize(
    ("file", "content", "what"),
    [
        ("meta.xml", "<archive", "not well-formed"),
        ("meta.xml", "<archive/>", "no Darwin Core Archive"),
        ("meta.xml", '<!DOCTYPE a [<!ENTITY b "c">]><archive>&b;</archive>', "declarations"),
        ("meta.xml", GBIF_META.replace("Taxon.tsv", "../../secret"), "not found"),
        ("vernacular.csv", "taxonID,vernacularName,language,evidence\nX1,cod,en,\n", '"X1" is no taxonID'),
        ("range_cautions.csv", "taxonID,typed,right,region,reason,source\nS001,,,,,\n", "needs rightName"),
        ("taxon.csv", "taxonID\n\udcff\n", "not UTF-8"),
    ],
)  # fmt: skip
def test_a_spoilt_archive_is_refused(file: str, content: str, what: str, copy: Path) -> None:
    (copy / file).write_bytes(content.encode("utf-8", errors="surrogateescape"))
    with pytest.raises(ArchiveError, match=what):
        load_release(copy, now=NOW)
    assert not BackboneRelease.objects.exists()
    assert not RangeCaution.objects.exists()


def test_a_line_without_a_common_name_is_left_out_and_said(copy: Path) -> None:
    table = "taxonID,vernacularName,language,evidence\nS001,,en,\nS001,cod,en,\n"
    (copy / "vernacular.csv").write_text(table, encoding="utf-8")
    loaded = load_release(copy, now=NOW)
    assert loaded.vernacular_names == 1
    what = "vernacular.csv: lines without a vernacularName, left out: 1, the first is line 2"
    assert what in loaded.remarks


def test_a_missing_file_is_named(copy: Path) -> None:
    (copy / "taxon.csv").unlink()
    with pytest.raises(ArchiveError, match=r"taxon\.csv"):
        load_release(copy, now=NOW)


def test_a_file_that_is_no_zip_is_refused() -> None:
    with pytest.raises(ArchiveError, match="expected a folder or a zip"):
        load_release(Path(__file__), now=NOW)


def test_the_same_release_with_other_content_is_refused(copy: Path) -> None:
    load_release(copy, now=NOW)
    table = copy / "taxon.csv"
    table.write_text(
        table.read_text(encoding="utf-8").replace("Gadus morhua", "Gadus callarias"), encoding="utf-8"
    )
    with pytest.raises(ArchiveError, match="other content"):
        load_release(copy, now=NOW)


def test_a_later_release_becomes_current_and_the_earlier_stays(copy: Path) -> None:
    first = load_release(BACKBONE, now=NOW).release
    eml = copy / "eml.xml"
    eml.write_text(eml.read_text(encoding="utf-8").replace("2026-01-20", "2027-01-20"), encoding="utf-8")
    second = load_release(copy, now=NOW).release
    first.refresh_from_db()
    assert (first.is_current, second.is_current) == (False, True)
    assert release_names(first).named(["Gadus morhua"]) == release_names(second).named(["Gadus morhua"])


def test_info_says_what_is_loaded_and_how_to_load() -> None:
    with pytest.raises(CommandError, match="backbone load fixtures/backbone") as error:
        call_command("backbone", "info")
    assert error.value.returncode == 1
    call_command("backbone", "load", str(BACKBONE), stderr=StringIO())
    out = StringIO()
    call_command("backbone", "info", "--format", "csv", stdout=out)
    header, row = out.getvalue().splitlines()
    assert header.startswith("release,version,current,loaded_at,names,synonyms")
    assert row.startswith("Demo backbone of the north-east Atlantic,2026-01-20,yes,")


def test_the_command_says_that_nothing_was_loaded(copy: Path) -> None:
    (copy / "meta.xml").unlink()
    with pytest.raises(CommandError, match=r"meta\.xml: expected in .* Nothing was loaded\.") as error:
        call_command("backbone", "load", str(copy))
    assert error.value.returncode == 1


def test_a_path_that_is_not_there_is_bad_usage(tmp_path: Path) -> None:
    with pytest.raises(CommandError) as error:
        call_command("backbone", "load", str(tmp_path / "none"))
    assert error.value.returncode == 2


def test_adopting_at_once_needs_a_name() -> None:
    with pytest.raises(CommandError, match="--by NAME") as error:
        call_command("backbone", "load", str(BACKBONE), "--adopt")
    assert error.value.returncode == 2
    assert not BackboneRelease.objects.exists()


def test_a_release_that_waits_is_adopted_at_once_on_demand(tmp_path: Path) -> None:
    first = load_release(archive(tmp_path / "one", HEADER + COD), now=NOW).release
    taxa_for(["Gadus morhua"], now=NOW)
    as_synonym = COD.replace("\t\tQ2\taccepted", "\tQ9\tQ2\tsynonym")
    lines = f"{HEADER}Morhua vulgaris Fleming, 1828\t\tQ9\taccepted\tSPECIES\n{as_synonym}"
    moved = archive(tmp_path / "two", lines)
    said = StringIO()
    call_command("backbone", "load", str(moved), stderr=said)
    assert current_release() == first
    assert "It would change 1 names in use, so it waits" in said.getvalue()
    registrar = make_person("Maren", roles=[Role.REGISTRAR])
    call_command("backbone", "load", str(moved), "--adopt", "--by", registrar.name, stderr=said)
    adopted = current_release()
    assert adopted is not None
    assert adopted.name == "two"
    assert "is in use now. 1 names followed" in said.getvalue()
