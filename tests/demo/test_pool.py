"""The pool of three sources in E02, proposed and settled: case C25 of the demo."""

import re
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse

from census.demo.actions.settle import settle_all
from census.rounds.models import Line
from inventory.book.models import Lot
from inventory.book.rules.happened import end_of_day
from inventory.people.models import Person
from inventory.permits.queries.whereabouts_pool import sources_in_lot

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db


def test_the_goldsinny_of_e02_come_from_three_sources_in_the_promised_ranges(house: DemoHouse) -> None:
    """20, 12 and 8 came, 27 are left: least, most and even share of each, worked by hand."""
    census = settle_all(house.history, now=house.now, zone=house.zone)
    lot = Lot.objects.get(accession=house.history.accessions["ctenolabrus-rupestris"])
    found = sources_in_lot(lot, before=end_of_day(census.period.ends_on, house.zone))
    assert {label: (bounds.least, bounds.most) for label, bounds in found} == {
        "HISFB 2024/117": (7, 20),
        "HISFB 2025/064": (0, 12),
        "from Gullskerry Marine Station": (0, 8),
    }
    assert [bounds.even for _, bounds in found] == pytest.approx([13.5, 8.1, 5.4])


@pytest.mark.usefixtures("frozen_clock")
def test_the_line_says_whose_are_left_if_the_two_are_lost(house: DemoHouse, client: Client) -> None:
    lot = Lot.objects.get(accession=house.history.accessions["ctenolabrus-rupestris"])
    line = Line.objects.get(lots=lot, place__code="E02", sheet__replaced_by=None)
    user = Person.objects.get(name="Maren Tolvsund").user
    assert user
    client.force_login(user)
    page = client.get(reverse("census_line", args=[line.sheet.number, line.number])).text
    table = page[page.index("<h2>Whose they are</h2>") :].partition("</table>")[0]
    rows = [re.findall(r"<t[hd] [^>]*>([^<]*)", row) for row in re.findall(r"<tr>(.*?)</tr>", table)]
    assert {unescape(row[0]): row[4:] for row in rows[2:]} == {
        "HISFB 2024/117": ["7", "20", "13.5"],
        "HISFB 2025/064": ["0", "12", "8.1"],
        "from Gullskerry Marine Station": ["0", "8", "5.4"],
    }
