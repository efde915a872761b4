"""An inspector's sample test, both ways: drawn with a kept seed, judged by the census's rules."""

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from census.whole_book.actions.sample import SampleRefused, draw_floor_sample, keep_finding
from census.whole_book.models import FloorSample, SampleFinding
from census.whole_book.rules.sample import draw_both_ways
from inventory.people.models import Person
from tests.factories import NOW, make_event, make_house, make_lot, make_person, make_place, make_taxon

pytestmark = pytest.mark.usefixtures("frozen_clock")


def _stock() -> None:
    make_house()
    taxon = make_taxon(count_class="B")
    for tank in range(4):
        place = make_place(f"E{tank}")
        for n in range(4):
            make_event("received", lot=make_lot(f"A-{tank}{n}", taxon=taxon), place=place, unknown=5)
    lent = make_lot("A-lent", taxon=taxon)
    make_event("received", lot=lent, place=place, unknown=1)
    make_event("loan_out", lot=lent, place=place, to_place=make_place("X1", kind="off_site"), unknown=1)


@given(st.text(min_size=1), st.dictionaries(st.text(), st.sampled_from("abcdef"), min_size=1, max_size=40))
def test_a_seed_draws_the_same_from_the_same_list(seed: str, lines: dict[str, str]) -> None:
    one, again = draw_both_ways(seed, lines), draw_both_ways(seed, dict(reversed(lines.items())))

    assert one == again
    assert len(set(one.lines)) == len(one.lines) == min(10, len(lines))
    assert len(one.places) == 10
    assert set(one.lines) <= set(lines)
    assert set(one.places) <= set(lines.values())


@pytest.mark.django_db
def test_ten_lines_and_ten_places_of_the_premises_are_drawn() -> None:
    _stock()
    inspector = make_person(roles=["inspector"])

    sample = draw_floor_sample(by=inspector, now=NOW, seed="a")

    ways = [thing.way for thing in sample.things.all()]
    assert (ways.count("list to floor"), ways.count("floor to list")) == (10, 10)
    assert not sample.things.filter(lot__accession="A-lent").exists()
    assert not sample.things.filter(place__code="X1").exists()
    assert draw_floor_sample(by=inspector, now=NOW, seed="b") == sample, "an unfinished sample is given again"


@pytest.mark.django_db
def test_findings_are_held_against_the_book_and_kept() -> None:
    _stock()
    inspector = make_person(roles=["inspector"])
    sample = draw_floor_sample(by=inspector, now=NOW, seed="a")
    one, two = sample.things.exclude(lot=None)[:2]
    floor = sample.things.filter(lot=None)[0]

    right = keep_finding(thing=one, found="5", by=inspector, now=NOW)
    wrong = keep_finding(thing=two, found="4", by=inspector, now=NOW)
    on_list = keep_finding(
        thing=floor, found="a red one", on_list=f"A-{floor.place.code[1]}0", by=inspector, now=NOW
    )

    assert (right.book, right.right, wrong.right, on_list.right) == (5, True, False, True)
    with pytest.raises(SampleRefused, match="already"):
        keep_finding(thing=one, found="5", by=inspector, now=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        SampleFinding.objects.update(right=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        FloorSample.objects.update(seed="")


@pytest.mark.django_db
def test_an_animal_that_is_not_on_the_list_is_wrong_and_a_lot_of_elsewhere_is_refused() -> None:
    _stock()
    inspector = make_person(roles=["inspector"])
    sample = draw_floor_sample(by=inspector, now=NOW, seed="a")
    one, two = sample.things.filter(lot=None)[:2]

    assert not keep_finding(thing=one, found="a stranger", by=inspector, now=NOW).right
    with pytest.raises(SampleRefused, match="has no A-lent"):
        keep_finding(thing=two, found="a ray", on_list="A-lent", by=inspector, now=NOW)
    with pytest.raises(SampleRefused, match="whole number"):
        keep_finding(thing=sample.things.exclude(lot=None)[0], found="many", by=inspector, now=NOW)


@pytest.mark.django_db
def test_an_aquarist_may_not_test() -> None:
    _stock()
    with pytest.raises(SampleRefused, match="for the role registrar, curator or inspector"):
        draw_floor_sample(by=make_person(roles=["aquarist"]), now=NOW, seed="a")


@pytest.mark.django_db
def test_the_page_draws_keeps_and_tells_the_book_only_afterwards(client: Client) -> None:
    _stock()
    inspector = make_person("Ins", roles=["inspector"])
    _sign_in(client, inspector)

    client.post(reverse("inspection_step"), {"step": "draw"})
    page = client.get(reverse("inspection")).content.decode()
    thing = FloorSample.objects.get().things.exclude(lot=None)[0]
    assert "the book had" not in page
    client.post(
        reverse("inspection_step"), {"step": "finding", "thing": thing.pk, "found": "3", "note": "<i>"}
    )
    page = client.get(reverse("inspection")).content.decode()

    assert "the book had 5" in page
    assert "&lt;i&gt;" in page
    assert "not on the list" not in page
    seen = FloorSample.objects.get().things.filter(lot=None)[0]
    client.post(reverse("inspection_step"), {"step": "finding", "thing": seen.pk, "found": "a stranger"})
    page = client.get(reverse("inspection")).content.decode()
    assert "a stranger, <strong>wrong</strong>: not on the list" in page
    assert FloorSample.objects.get().seed in page


@pytest.mark.django_db
def test_the_page_asks_as_much_of_many_samples_as_of_one(client: Client) -> None:
    _stock()
    inspector = make_person(roles=["inspector"])
    _sign_in(client, inspector)
    counts = []
    for seed in "ab":
        sample = draw_floor_sample(by=inspector, now=NOW, seed=seed)
        for thing in sample.things.all():
            keep_finding(thing=thing, found="5", by=inspector, now=NOW)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse("inspection")).status_code == 200
        counts.append(len(queries))

    assert counts[0] == counts[1]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("role", "opens"), [("registrar", 200), ("inspector", 200), ("aquarist", 403), ("counter", 403)]
)
def test_who_may_take_the_whole_book_out(client: Client, role: str, opens: int) -> None:
    make_house()
    _sign_in(client, make_person(roles=[role]))

    assert client.get(reverse("whole_book")).status_code == opens
    for form in ("csv", "parquet", "xlsx"):
        answer = client.get(reverse("whole_book_file", args=[form]))
        assert answer.status_code == opens
        if opens == 200:
            assert b"".join(answer.streaming_content)[:2] == b"PK"  # type: ignore[attr-defined]
    if opens == 200:
        assert client.get(reverse("whole_book_file", args=["docx"])).status_code == 404
        assert b"book_flow" in client.get(reverse("data_dictionary")).content
        assert b"book_flow" in client.get(reverse("data_dictionary_csv")).content


def _sign_in(client: Client, person: Person) -> None:
    assert person.user is not None
    client.force_login(person.user)
