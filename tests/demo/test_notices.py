"""What the demo's permits and loans ask for on its own day."""

from datetime import date

import pytest

from inventory.permits.queries.notices import notices
from inventory.permits.queries.reminders import reminders
from inventory.permits.rules.reminders import About

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db
TODAY = date(2026, 10, 6)


def test_the_young_seahorses_not_found_are_to_be_told_today(house: DemoHouse) -> None:
    """C19: counted on 29 September, three short; permit P3 says within 7 days, missing ones too."""
    (notice,) = [one for one in notices(on=TODAY, zone=house.zone) if one.left]
    assert (notice.permit.short, notice.lot.taxon.scientific_name) == ("P3", "Hippocampus guttulatus")
    assert (notice.n, notice.found_on, notice.due_on) == (3, date(2026, 9, 29), TODAY)
    assert (notice.kind_words, notice.when, notice.late, notice.event) == ("not found", "today", False, None)


def test_the_list_of_reminders_is_that_of_the_demo(house: DemoHouse) -> None:
    """P2 ends in 25 days, its return is due on its own day; LN-1 is over since 12 May and not confirmed."""
    found = {(one.about, one.subject): one for one in reminders(on=TODAY, zone=house.zone)}
    expiry = found[About.EXPIRY, "permit HISFB 2025/064"]
    assert (expiry.due_on, expiry.days, expiry.step) == (date(2026, 10, 31), 25, 30)
    assert found[About.RETURN, "permit HISFB 2025/064"].due_on == date(2026, 11, 30)
    back = found[About.LOAN_BACK, "agreement LN-1"]
    assert (back.due_on, back.late) == (date(2026, 5, 11), True)
    assert found[About.LOAN_LETTER, "agreement LN-1"].due_on == date(2026, 5, 12)
    assert (About.EXPIRY, "permit HND 2025/P09") not in found
    assert found[About.NOTICE, "permit HND 2025/P09"].due_on == TODAY
