"""Labels from the page and from the command: what is chosen, what is refused, what is given."""

import io
import zipfile
from datetime import date
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from inventory.book.models import Lot
from inventory.names.actions.lists import load_lists
from inventory.people.rules.roles import Role
from inventory.tankside.queries.labels import NotThere, labels_of

from .. import factories

pytestmark = pytest.mark.django_db
LISTS = Path(__file__).resolve().parents[2] / "fixtures" / "lists"
SITE = "https://tanks.example"


@pytest.fixture
def client() -> Client:
    person = factories.make_person("Ade Quillanter", roles=[Role.AQUARIST])
    factories.make_house()
    opened = Client()
    assert person.user is not None
    opened.force_login(person.user)
    return opened


@pytest.fixture
def stock() -> None:
    hall = factories.make_place("E02", name="Kelp Hall")
    factories.make_place("E99", name="Old Hall", closed_on=date(2025, 1, 1))
    taxon = factories.make_taxon(
        "Conger conger", common_name="European conger", kingdom="Animalia", family="Congridae"
    )
    conger = factories.make_lot("A2", taxon=taxon, kind="individual", house_name="Thole", marks="torn fin")
    factories.make_event("received", lot=conger, place=hall, females=1)


def words_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def test_labels_say_where_they_lead_and_who_it_is(stock: None) -> None:
    hall, conger = labels_of(places=["E02"], lots=["A2"], site=f"{SITE}/")
    assert (hall.address, hall.code, hall.name) == (f"{SITE}/tank/#E02", "E02", "Kelp Hall")
    assert (conger.address, conger.name) == (f"{SITE}/tank/#lot/A2", "European conger")
    assert conger.more == ("Conger conger", "“Thole”, torn fin")


def test_a_lots_label_carries_its_caution_and_a_tanks_does_not(stock: None) -> None:
    load_lists(LISTS, now=factories.NOW)
    hall, conger = labels_of(places=["E02"], lots=["A2"], site=SITE)
    assert conger.caution.startswith("Caution: ")
    assert hall.caution == ""


def test_without_a_choice_all_open_places_are_meant(stock: None) -> None:
    assert [label.code for label in labels_of(places=None, lots=[], site=SITE)] == ["E02"]


def test_what_is_not_there_is_named(stock: None) -> None:
    with pytest.raises(NotThere, match="no place E77, E78"):
        labels_of(places=["E02", "E77", "E78"], lots=[], site=SITE)
    with pytest.raises(NotThere, match="no lot Z9"):
        labels_of(places=[], lots=["Z9"], site=SITE)


def test_many_labels_ask_no_more_than_few(stock: None) -> None:
    load_lists(LISTS, now=factories.NOW)

    def asked() -> int:
        lots = list(Lot.objects.values_list("accession", flat=True))
        with CaptureQueriesContext(connection) as captured:
            labels_of(places=None, lots=lots, site=SITE)
        return len(captured)

    few = asked()
    for _ in range(10):
        factories.make_lot()
        factories.make_place()
    assert asked() == few


def test_the_page_gives_a_pdf_of_what_is_ticked(stock: None, client: Client, frozen_clock: object) -> None:
    chosen = {"place": ["E02"], "lot": ["A2"], "sheet": "a4-3x7", "start": "4", "kind": "pdf", "print": "1"}
    answer = client.post("/labels", chosen)
    assert answer["Content-Type"] == "application/pdf"
    assert 'filename="labels.pdf"' in answer["Content-Disposition"]
    text = words_of(answer.content)
    assert "Kelp Hall" in text
    assert "European conger" in text


def test_the_page_gives_pictures_in_a_zip(stock: None, client: Client) -> None:
    chosen = {"place": ["E02"], "sheet": "tag-50x25", "start": "1", "kind": "svg", "print": "1"}
    answer = client.post("/labels", chosen)
    with zipfile.ZipFile(io.BytesIO(answer.content)) as folder:
        assert folder.namelist() == ["E02.svg"]
        assert folder.read("E02.svg").startswith(b"<svg ")


def test_searching_keeps_what_is_ticked(stock: None, client: Client) -> None:
    page = client.post("/labels", {"place": ["E02"], "text": "conger", "find": "1"}).text
    assert 'value="E02" checked' in page
    assert 'value="A2">' in page
    assert 'value="E99"' not in page
    assert 'value="A2" checked' in client.get("/labels?lot=A2").text


@pytest.mark.parametrize(
    ("chosen", "says"),
    [
        ({"sheet": "a4-3x7", "start": "22", "kind": "pdf", "place": ["E02"]}, "has 21 labels"),
        ({"sheet": "a4-3x7", "start": "1", "kind": "pdf"}, "choose a place or a lot"),
        ({"sheet": "a4-3x7", "start": "1", "kind": "pdf", "place": ["E77"]}, "no place E77"),
    ],
)
def test_the_page_says_what_cannot_be_printed(
    stock: None, client: Client, chosen: dict[str, object], says: str
) -> None:
    page = client.post("/labels", {**chosen, "print": "1"}).text
    assert "Nothing was printed yet" in page
    assert says in page


def test_the_command_writes_sheets_one_picture_or_a_folder(stock: None, tmp_path: Path) -> None:
    call_command("labels", "--out", str(tmp_path / "all.pdf"), stderr=io.StringIO())
    assert words_of((tmp_path / "all.pdf").read_bytes()) == "E02 Kelp Hall"
    call_command("labels", "--lots", "A2", "--out", str(tmp_path / "one.svg"), stderr=io.StringIO())
    assert "European conger" in (tmp_path / "one.svg").read_text().replace("</text>", " ")
    said = io.StringIO()
    folder = tmp_path / "pictures"
    call_command("labels", "--places", "E02", "--lots", "A2", "--out", str(folder), stderr=said)
    assert sorted(path.name for path in folder.iterdir()) == ["A2.svg", "E02.svg"]
    assert "Wrote 2 labels" in said.getvalue()


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["--places", "E77", "--out", "x.pdf"], 1, "no place E77"),
        (["--places", "E02", "--lots", "A2", "--out", "x.svg"], 2, "holds one label and 2"),
        (["--places", "E02", "--out", "x.png"], 2, "neither .pdf nor .svg"),
        (["--start", "0", "--out", "x.pdf"], 1, "begin at 1 to 24"),
    ],
)
def test_the_command_refuses_and_writes_nothing(
    stock: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], code: int, says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match=says) as refused:
        call_command("labels", *arguments, stderr=io.StringIO())
    assert refused.value.returncode == code
    assert list(tmp_path.iterdir()) == []


def test_the_address_in_the_codes_is_the_houses_setting(
    stock: None, tmp_path: Path, settings: object
) -> None:
    settings.ADDRESS = SITE  # type: ignore[attr-defined]
    call_command("labels", "--places", "E02", "--out", str(tmp_path / "one.svg"), stderr=io.StringIO())
    assert f"{SITE}/tank/#E02" in (tmp_path / "one.svg").read_text()


def test_who_is_not_signed_in_gets_no_labels() -> None:
    assert Client().get("/labels").status_code == 302
