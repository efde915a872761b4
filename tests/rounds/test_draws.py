"""Lines drawn for a recount, and the sample test before signing, in the house."""

import json

import pytest
from django.test import Client
from django.urls import reverse

from census.rounds.actions.counts import Entry
from census.rounds.actions.drawing import draw_recounts, draw_sample, record_sample
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import hand_in
from census.rounds.actions.signing import sign
from census.rounds.models import Census, DrawnLine, Sheet, SignedWithoutSample
from census.rounds.queries.draws import newest_sample, read_sample, sample_doubles
from census.rounds.queries.open_items import ItemKind, open_items
from census.rounds.queries.reading import read_census
from census.rounds.writers.statement import STATEMENT
from inventory.book.models import PeriodVersion
from inventory.people.models import Person
from tests import factories

from .house import COUNTED, HELD, NOW, WITHOUT, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db


def blocking(census: Census) -> list[ItemKind]:
    return [item.kind for item in open_items(census, read_census(census))]


def test_lines_that_agree_are_drawn_once_and_wait_for_another_counter(house: TestHouse) -> None:
    census = house.compared({"goby": 6})
    draw = draw_recounts(census=census, by=house.registrar, now=NOW, seed="ebb")
    assert draw_recounts(census=census, by=house.registrar, now=NOW, seed="flood") == draw
    drawn = [one.line for one in draw.lines.select_related("line")]
    assert len({line.joined_key or line.pk for line in drawn if line}) == 3
    assert house.line(census, "goby") not in drawn
    assert blocking(census).count(ItemKind.DRAWN) == 3
    names = {lot.accession: name for name, lot in house.lots.items()}
    for line in drawn:
        assert line is not None
        for lot in line.lots.all()[:1]:
            house.count(census, {names[lot.accession]: HELD[names[lot.accession]]}, round=2)
    assert ItemKind.DRAWN not in blocking(census)


def test_the_same_seed_draws_the_same_lines_from_the_same_census(house: TestHouse) -> None:
    census = house.compared({})
    first = [
        one.line_id for one in draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb").lines.all()
    ]
    again = draw_sample(census=census, by=factories_inspector(), now=NOW, seed="ebb", inspection=True)
    same = draw_sample(census=census, by=factories_inspector(), now=NOW, seed="ebb", inspection=True)
    assert [one.line_id for one in again.lines.all()] == [one.line_id for one in same.lines.all()]
    assert first


def factories_inspector() -> Person:
    return factories.make_person(roles=["inspector"])


def test_a_sample_takes_class_a_whole_lines_of_sheets_and_both_ways(house: TestHouse) -> None:
    census = house.compared({})
    draw = draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    parts = [one.part for one in draw.lines.all()]
    assert parts.count("floor to list") == 10
    lines = [one.line for one in draw.lines.all() if one.line]
    assert house.line(census, "conger") in lines
    assert len(lines) == len(set(lines))
    assert draw_sample(census=census, by=house.registrar, now=NOW, seed="again") == draw
    assert ItemKind.SAMPLE in blocking(census)


def finish(house: TestHouse, census: Census, wrong: set[str]) -> None:
    """Looks at every drawn line; the lots in ``wrong`` have one animal fewer than the book."""
    tester = factories.make_person(roles=["registrar"])
    names = {lot.accession: name for name, lot in house.lots.items()}
    sample = newest_sample(census)
    assert sample is not None
    for one in sample.lines:
        if one.line is None:
            record_sample(drawn_line=one, found="a goby", on_list=True, by=tester, now=NOW)
            continue
        name = next(n for n in map(names.get, (lot.accession for lot in one.line.lots.all())) if n in HELD)
        n = HELD[name] - (1 if name in wrong else 0)
        record_sample(drawn_line=one, found=str(n), by=tester, now=NOW)


def test_a_sample_without_fault_lets_the_curator_sign(house: TestHouse) -> None:
    census = house.compared({})
    draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    finish(house, census, wrong=set())
    assert blocking(census) == []
    assert sign(census=census, by=house.curator, now=NOW, zone=ZONE).number == 1


def test_without_a_sample_the_curator_says_why_and_it_is_kept_with_the_signature(house: TestHouse) -> None:
    census = house.compared({})
    for said in ("", "  "):
        with pytest.raises(CensusRefused, match="No sample test was drawn in CS-26Q3: draw one, or say why"):
            sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=said)
    assert not PeriodVersion.objects.exists()
    version = sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    kept = SignedWithoutSample.objects.get()
    assert (kept.why, kept.by, kept.at) == (WITHOUT, house.curator, NOW)
    paper = json.loads(bytes(version.statements.get(name=STATEMENT).content))
    assert [(one["why"], one["by"]) for one in paper["signed_without_sample"]] == [(WITHOUT, "Oskar")]


def test_a_sample_that_accepts_leaves_nothing_to_be_said(house: TestHouse) -> None:
    census = house.compared({})
    draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    finish(house, census, wrong=set())
    sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    assert not SignedWithoutSample.objects.exists()


def test_the_signing_page_warns_where_no_sample_was_drawn(house: TestHouse, client: Client) -> None:
    census = house.compared({})
    address = reverse("census_sign", args=[census.code])
    assert house.curator.user is not None
    client.force_login(house.curator.user)
    assert "nobody has looked whether the counts hold" in client.get(address).content.decode()
    told = client.post(address, {"step": "sign", "without_sample": ""}, follow=True).content.decode()
    assert "draw one, or say why it is signed without" in told
    told = client.post(address, {"step": "sign", "without_sample": WITHOUT}, follow=True).content.decode()
    assert "signed without by Oskar on" in told
    assert WITHOUT in told


def test_one_error_in_class_a_blocks_names_the_team_and_asks_for_a_new_draw(house: TestHouse) -> None:
    census = house.compared({})
    first = draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    finish(house, census, wrong={"conger"})
    item = next(i for i in open_items(census, read_census(census)) if i.kind == ItemKind.SAMPLE)
    assert "1 wrong in class A, where none may be" in item.text
    assert "count again all sheets of: Alda" in item.text
    with pytest.raises(CensusRefused, match="sample test"):
        sign(census=census, by=house.curator, now=NOW, zone=ZONE)
    second = draw_sample(census=census, by=house.registrar, now=NOW, seed="flood")
    assert second != first
    finish(house, census, wrong=set())
    assert blocking(census) == []


def test_a_bad_sample_doubles_that_of_the_next_census(house: TestHouse) -> None:
    census = house.compared({})
    draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    finish(house, census, wrong={"goby", "bib", "wrasse", "wrasse q"})
    next_period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    house.period = next_period
    assert sample_doubles(house.open("K1", code="CS-26Q4", now=at("2026-12-15T09:00")))


def test_a_result_is_kept_and_who_counted_does_not_test(house: TestHouse) -> None:
    census = house.compared({})
    draw = draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    one = DrawnLine.objects.filter(draw=draw, line__isnull=False).first()
    assert one is not None
    with pytest.raises(CensusRefused, match="may not write down a sample"):
        record_sample(drawn_line=one, found="2", by=house.first, now=NOW)
    counter = factories.make_person("Ketil", roles=["registrar", "aquarist"])
    house.first = counter
    with pytest.raises(CensusRefused, match="Write what was found"):
        record_sample(drawn_line=one, found=" ", by=house.registrar, now=NOW)
    record_sample(drawn_line=one, found="0", by=house.registrar, now=NOW, note="looked twice")
    with pytest.raises(CensusRefused, match="has its result: 0"):
        record_sample(drawn_line=one, found="2", by=house.registrar, now=NOW)


def test_an_inspectors_own_test_changes_nothing(
    house: TestHouse,
) -> None:
    census = house.compared({})
    inspector = factories_inspector()
    with pytest.raises(CensusRefused, match="may not draw a sample"):
        draw_sample(census=census, by=inspector, now=NOW, seed="ebb")
    draw = draw_sample(census=census, by=inspector, now=NOW, seed="ebb", inspection=True)
    assert {one.part for one in draw.lines.all()} == {"list to floor", "floor to list"}
    one = draw.lines.filter(line__isnull=False).first()
    assert one is not None
    record_sample(drawn_line=one, found="0", by=inspector, now=NOW)
    assert read_sample(draw).found == 1
    assert blocking(census) == []


def test_a_counter_who_is_registrar_too_does_not_test_their_own_line(house: TestHouse) -> None:
    both = factories.make_person("Ketil", roles=["registrar", "aquarist"])
    census = house.opened_and_issued("K2")
    line = house.line(census, "wrasse q")
    entry = Entry(line=line.number, counted_at=COUNTED, counter=both, value=6)
    house.count(census, {"wrasse q": entry, "cases": 23})
    hand_in(sheet=Sheet.objects.get(census=census), by=both, now=NOW)
    draw = draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    one = draw.lines.get(line=line)
    with pytest.raises(CensusRefused, match="another person tests it"):
        record_sample(drawn_line=one, found="6", by=both, now=NOW)
