"""Every line of a print leads to its annex: takes under a permit's lines, and numbers that are a range."""

import re
from datetime import date
from io import BytesIO

import pytest
from django.test import Client
from django.utils.timezone import get_current_timezone

from census.change.rules.question import Question
from census.reports.files.paper import write_pdf
from census.reports.queries.annex import annex
from census.reports.rules.document import Block, Column, Document, Figure, Line, Name, Part, Table
from census.reports.rules.said import Saying
from inventory.people.rules.roles import Role
from tests.factories import make_event, make_house, make_person
from tests.permits.house import PermitHouse

from .conftest import QUARTER, answered
from .printed import read_pages

QUESTION = Question(date(2026, 7, 1), date(2026, 9, 30))


@pytest.mark.django_db
def test_the_takes_of_each_line_of_a_permit_come_to_what_the_line_says(house_with_takes: PermitHouse) -> None:
    document = answered("permits", QUESTION)
    told = document.takes()
    lines = [line for table in document.part("permits").tables() for line in table.lines]
    assert len({line.annex for line in lines}) == len(lines)
    sums = {line.label: sum(one.n for one in told[line.annex]) for line in lines}
    assert sums == {line.label: line.figures["caught"].number for line in lines}
    gobies = next(told[line.annex] for line in lines if "goby" in line.label)
    (goby,) = [one for one in gobies if one.n == 16]
    assert (goby.way, goby.kind) == ("5 let go, 2 died on the way, 9 kept", "two-spotted goby")
    assert goby.event.isdecimal()


@pytest.mark.django_db
def test_the_print_of_permits_names_each_line_with_takes_and_says_why_others_are_not_there(
    house_with_takes: PermitHouse, client: Client
) -> None:
    assert house_with_takes.officer.user is not None
    client.force_login(house_with_takes.officer.user)
    pages = read_pages(client.get("/reports/permits.pdf", QUARTER).content)
    text = " ".join(" ".join(run.text for page in pages for run in page).split())
    annexed = text[text.index("Annex: the events behind each line") :]
    assert "no take in the whole run where it is a permit's" in annexed
    for table in answered("permits", QUESTION).part("permits").tables():
        for line in table.lines:
            n = line.figures["caught"].number
            assert (f"Line {line.number}: {line.label}" in annexed) == bool(n), line.label
    assert "7 in all" in annexed
    assert not re.search(r"\b\d{4}-\d{2}-\d{2}\b", text)


@pytest.mark.django_db
def test_a_number_that_nobody_could_count_exactly_is_told_so_in_the_annex(client: Client) -> None:
    """Eggs, about 40: a regulator would take the bare number for a count."""
    make_house()
    make_event("born", unknown=40, at_least=30, at_most=60, happened="2026-08-11")
    make_event("born", unknown=3, happened="2026-08-12")
    found = annex([QUESTION], saying=Saying(get_current_timezone()))
    said = {one.n: one.column for entries in found.values() for one in entries}
    assert said[40].endswith(" (the event's number: between 30 and 60)")
    assert "between" not in said[3]
    person = make_person(roles=[Role.INSPECTOR])
    assert person.user is not None
    client.force_login(person.user)
    pages = read_pages(client.get("/reports/taxa.pdf", QUARTER).content)
    assert "between 30 and 60" in " ".join(" ".join(run.text for page in pages for run in page).split())


def test_the_number_of_a_note_is_no_smaller_than_anything_else() -> None:
    """One that cannot be read leads to no note."""
    name = Name("Labrus mixtus", note=12)
    line = Line(1, name, "", lambda: {"n": Figure(3)})
    part = Part("p", "Taxa", "", [Column("n", "n")], [Block("Taxa", [], [Table("animal", [line], {}, "")])])
    out = BytesIO()
    write_pdf(Document("stock-list", "Taxa", [], [part], []), out, made="", annex=None)
    runs = [run for page in read_pages(out) for run in page]
    assert "12" in {run.text.strip() for run in runs}
    assert min(run.size for run in runs) >= 6.99
