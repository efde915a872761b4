"""A death at the tank: one entry is one event, in the words and at the moment of who saw it."""

from datetime import timedelta

from inventory.book.models import Event, Flag
from inventory.tankside.models import Entry

from ..factories import NOW
from .conftest import Tablet, TankHouse


def test_a_death_is_an_event_and_is_said_back_in_words(house: TankHouse, tablet: Tablet) -> None:
    answer = tablet.one(tablet.entry(lot="G1", n=2, saved_at=NOW.replace(hour=8, minute=10)))
    event = Event.objects.latest("id")
    assert answer["words"] == "2 dead, two-spotted goby, Kelp Hall, 08:10"
    assert (answer["outcome"], answer["event"], answer["flags"]) == ("sent", event.pk, [])
    assert (event.kind, event.happened, event.cause) == ("died", "2026-10-06T08:10", "not known")
    assert (event.entered_by, event.device, event.ref) == (house.aquarist, "Blue", "device Blue")
    assert house.held(house.gobies) == 198


def test_the_same_entry_again_gets_the_first_answer_and_makes_nothing(
    house: TankHouse, tablet: Tablet
) -> None:
    entry = tablet.entry(lot="G1", n=2)
    first = tablet.one(entry)
    events, flags = Event.objects.count(), Flag.objects.count()
    again = tablet.one(entry, sent_at=NOW + timedelta(minutes=3))
    assert again == {**first, "already": True}
    assert (Event.objects.count(), Flag.objects.count(), Entry.objects.count()) == (events, flags, 1)
