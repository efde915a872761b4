"""Lists from csv files: all of a folder or nothing, twice is once, versions are kept."""

import shutil
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from inventory.names.actions.lists import ListsRefused, load_lists
from inventory.names.models import ListEntry, NameList
from inventory.names.rules.lists import ListKind, Mark
from tests.factories import NOW

pytestmark = pytest.mark.django_db

SHIPPED = Path(__file__).resolve().parents[2] / "fixtures" / "lists"
HEAD = "list,Trial\nkind,legal\nauthority,nobody\nsource,a trial\nsource_date,2026\nmark,memory\n"
COLUMNS = "scientific_name,rank,annotation\n"


def written(folder: Path, text: str, name: str = "trial.csv") -> Path:
    (folder / name).write_text(text, encoding="utf-8", newline="")
    return folder


def problems(folder: Path) -> list[str]:
    with pytest.raises(ListsRefused) as refused:
        load_lists(folder, now=NOW)
    assert not NameList.objects.exists()
    return [str(problem) for problem in refused.value.problems]


def test_the_lists_that_come_along_are_loaded_whole_and_twice_is_once() -> None:
    first = load_lists(SHIPPED, now=NOW)
    assert {one.kind for one in first} == {"hazard", "legal", "non_native", "injurious"}
    assert {one.state for one in first} == {"new"}
    entries = list(ListEntry.objects.values_list("pk", flat=True))
    assert {one.state for one in load_lists(SHIPPED, now=NOW)} == {"already there"}
    assert list(ListEntry.objects.values_list("pk", flat=True)) == entries


def test_every_hazard_that_comes_along_says_what_to_do_and_where_it_comes_from() -> None:
    load_lists(SHIPPED, now=NOW)
    hazards = ListEntry.objects.filter(of_list__kind=ListKind.HAZARD)
    assert hazards.count() > 20
    for hazard in hazards:
        assert hazard.what, hazard
        assert hazard.what_to_do_first, hazard
        # A source of its own, or the plain word that there is none.
        assert bool(hazard.source) != (hazard.mark == Mark.PRACTICE), hazard


def test_a_changed_file_is_a_new_version_and_the_old_one_stays(tmp_path: Path) -> None:
    folder = written(tmp_path, HEAD + COLUMNS + "Anguilla anguilla,species,Appendix III\n")
    load_lists(folder, now=NOW)
    written(tmp_path, HEAD + COLUMNS + "Anguilla anguilla,species,Appendix II\n")
    (loaded,) = load_lists(folder, now=NOW)
    assert (loaded.version, loaded.state) == (2, "changed")
    versions = NameList.objects.values_list("version", "is_current", "entries__annotation")
    assert sorted(versions) == [(1, False, "Appendix III"), (2, True, "Appendix II")]


def test_a_list_without_rows_is_out_of_use(tmp_path: Path) -> None:
    load_lists(written(tmp_path, HEAD + COLUMNS + "Anguilla anguilla,species,Appendix II\n"), now=NOW)
    (loaded,) = load_lists(written(tmp_path, HEAD + COLUMNS), now=NOW)
    assert loaded.entries == 0
    assert not ListEntry.objects.filter(of_list__is_current=True).exists()


def test_what_a_spreadsheet_makes_of_a_file_is_read_all_the_same(tmp_path: Path) -> None:
    """Byte order mark, CRLF, commas up to the width of the table, capitals, blank lines."""
    lines = [f"{line},," for line in HEAD.replace("kind,legal", "Kind,Legal").splitlines()]
    lines += ["", ",,,", "Scientific_Name,Rank,Annotation,,", "Hippocampus spp.,Genus,Appendix II,,"]
    written(tmp_path, "\ufeff" + "\r\n".join(lines) + "\r\n")
    (loaded,) = load_lists(tmp_path, now=NOW)
    assert (loaded.kind, loaded.entries) == ("legal", 1)
    entry = ListEntry.objects.get()
    assert (entry.scientific_name, entry.name, entry.rank) == ("Hippocampus spp.", "Hippocampus", "genus")
    assert (entry.mark, entry.credit) == ("memory", "a trial")


def test_one_bad_file_loads_none(tmp_path: Path) -> None:
    shutil.copy(SHIPPED / "cites.csv", tmp_path)
    assert problems(written(tmp_path, HEAD + COLUMNS + "Anguilla,species,x\n")) == [
        "trial.csv, row 8, column scientific_name: “Anguilla” with rank species; expected a name of two "
        "words or three"
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEAD + COLUMNS + "Anguilla anguilla,genus,x\n", "“Anguilla anguilla” with rank genus"),
        (HEAD + COLUMNS + "A. anguilla,species,x\n", "row 8, column scientific_name: “A. anguilla” cannot"),
        (HEAD + COLUMNS + "eel,species,x\n", "row 8, column scientific_name: “eel” cannot be read"),
        (HEAD + COLUMNS + "Raja clavata/montagui,species,x\n", "cannot be read as one scientific name"),
        (HEAD + COLUMNS + "Anguilla anguilla,spcies,x\n", "row 8, column rank: “spcies” is not known"),
        (HEAD + COLUMNS + "Anguilla anguilla,species,\n", "row 8, column annotation: it is blank"),
        (HEAD + COLUMNS + "Anguilla anguilla,species,x,y\n", "row 8, column 4: a cell has no heading"),
        (
            HEAD + COLUMNS + "Anguilla anguilla,species,x\nAnguilla anguilla,species,x\n",
            "row 9, column scientific_name: the same entry stands in row 8",
        ),
        (HEAD + COLUMNS.replace("rank", "level"), "row 7, column 2: unknown column “level”"),
        (HEAD + "scientific_name,rank\n", "row 7, column annotation: the column is missing"),
        (HEAD + COLUMNS.replace("rank", "rank,rank"), "row 7, column rank: this heading stands twice"),
        (HEAD.replace("legal", "lawful") + COLUMNS, "row 2, column kind: “lawful” is not known"),
        (HEAD.replace("2026", "last year") + COLUMNS, "row 5, column source_date: “last year” is no date"),
        (HEAD.replace("2026", "2026-13") + COLUMNS, "row 5, column source_date: “2026-13” is no date"),
        (HEAD.replace("nobody", "") + COLUMNS, "row 3, column authority: it is blank"),
        (HEAD.replace("mark,memory\n", "") + COLUMNS, "the head row mark is missing"),
        (HEAD + "kind,legal\n" + COLUMNS, "row 7, column 1: the head row kind stands twice"),
        (HEAD.replace("a trial", "one, two") + COLUMNS, "row 4, column 3: a head row has two cells"),
        (HEAD, "the row of headings is missing"),
        ("", "the head row list is missing"),
        (HEAD.replace("legal", "hazard") + COLUMNS + "Conger conger,species,bites\n", "what: it is blank"),
        (HEAD + COLUMNS + '"Anguilla anguilla,species,x\n', "not a csv"),
        (HEAD + COLUMNS + f"Anguilla anguilla,species,{'x' * 201}\n", "row 8, column annotation: longer"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_file_row_and_column(tmp_path: Path, text: str, says: str) -> None:
    found = problems(written(tmp_path, text))
    assert any(problem.startswith("trial.csv") and says in problem for problem in found), found


def test_a_file_that_is_not_utf_8_is_told_with_its_row(tmp_path: Path) -> None:
    text = (HEAD + COLUMNS + "Anguilla anguilla,species,für alle\n").encode("latin-1")
    (tmp_path / "trial.csv").write_bytes(text)
    assert problems(tmp_path) == ["trial.csv, row 8: not UTF-8; save the file as “CSV UTF-8”"]


def test_a_folder_without_a_list_is_refused(tmp_path: Path) -> None:
    assert "no .csv file is in this folder" in problems(tmp_path)[0]


def test_a_list_once_loaded_is_never_edited() -> None:
    load_lists(SHIPPED, now=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        ListEntry.objects.update(annotation="harmless")
    with pytest.raises(IntegrityError), transaction.atomic():
        NameList.objects.update(source="elsewhere")
    with pytest.raises(IntegrityError), transaction.atomic():
        ListEntry.objects.all()._raw_delete("default")


def test_the_command_loads_shows_and_says_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(CommandError, match="No list is loaded"):
        call_command("lists", "show")
    call_command("lists", "load", str(SHIPPED / "cites.csv"), "--format", "csv")
    assert '"CITES Appendices, examples",legal,1,3,new' in capsys.readouterr().out
    call_command("lists", "show", "--format", "csv")
    assert "CITES Appendices" in capsys.readouterr().out
    with pytest.raises(CommandError, match="no taxon of the house is called so"):
        call_command("lists", "show", "Conger conger")
    with pytest.raises(CommandError, match="there is no such file or folder") as nowhere:
        call_command("lists", "load", str(tmp_path / "nowhere"))
    assert nowhere.value.returncode == 2
    with pytest.raises(CommandError, match="Nothing was loaded") as wrong:
        call_command("lists", "load", str(written(tmp_path, HEAD)))
    assert wrong.value.returncode == 1
