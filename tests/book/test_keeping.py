"""Whose tanks: keepers from day to day, with what is below a place."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.models import Keeping
from inventory.book.queries.keeping import keepers_of, places_kept
from inventory.book.rules.place_tree import with_descendants

from ..factories import make_person, make_place


@pytest.mark.django_db
def test_a_keeper_keeps_what_is_below_the_place_from_day_to_day() -> None:
    ade, corin = make_person(), make_person()
    exhibit = make_place()
    basin = make_place(parent=exhibit)
    make_place()
    Keeping.objects.create(place=exhibit, keeper=corin, since=date(2024, 10, 1), until=date(2025, 8, 31))
    Keeping.objects.create(place=exhibit, keeper=ade, since=date(2025, 9, 1))
    assert places_kept(corin, on=date(2025, 8, 31)) == {exhibit.pk, basin.pk}
    assert places_kept(corin, on=date(2025, 9, 1)) == frozenset()
    assert places_kept(ade, on=date(2026, 10, 6)) == {exhibit.pk, basin.pk}
    assert keepers_of(basin, on=date(2026, 10, 6)) == [ade]


@given(st.lists(st.integers(-1, 30), min_size=1, max_size=30), st.sets(st.integers(0, 29)))
def test_descendants_are_those_whose_way_up_meets_a_top(above: list[int], tops: set[int]) -> None:
    """Against the plain walk upwards; a place's parent is one made before it."""
    parents = {place: (up if 0 <= up < place else None) for place, up in enumerate(above)}
    chosen = {place for place in tops if place in parents}

    def below(place: int | None) -> bool:
        return place is not None and (place in chosen or below(parents[place]))

    assert with_descendants(chosen, parents) == {place for place in parents if below(place)}
