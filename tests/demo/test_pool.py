"""The pool of three sources in E02 when the census is settled: case C25 of the demo."""

import pytest

from census.demo.actions.settle import settle_all
from inventory.book.models import Lot
from inventory.book.rules.happened import end_of_day
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
