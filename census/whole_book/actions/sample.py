"""Draws an inspector's sample, and writes down what was found."""

from datetime import datetime, timedelta

from django.db import transaction

from census.rounds.queries.reading import present
from census.rounds.queries.settings import settings_in_use
from census.rounds.rules.sampling import is_right
from census.rounds.rules.who import SAMPLES
from census.rounds.rules.written import read_whole
from inventory.book.queries.quantities import Point, held_at
from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import in_words

from ..models import FloorSample, SampledThing, SampleFinding
from ..queries.sample import lines_on_the_premises, lots_of_places
from ..rules.sample import FLOOR_TO_LIST, LIST_TO_FLOOR, draw_both_ways, fingerprint

# The minute of the look is inside.
_A_MINUTE = timedelta(minutes=1)


class SampleRefused(Exception):
    """The step was not taken; the message says why and what to do."""


@transaction.atomic
def draw_floor_sample(*, by: Person, now: datetime, seed: str) -> FloorSample:
    """Draws ten lines of the list and ten places of the floor. One that is not finished is given again."""
    _require(by)
    unfinished = FloorSample.objects.filter(drawn_by=by, things__finding=None).first()
    if unfinished is not None:
        return unfinished
    lines = lines_on_the_premises()
    if not lines:
        raise SampleRefused("The book holds nothing on the premises: there is nothing to draw from.")
    names = {name: line.place_code for name, line in lines.items()}
    chosen = draw_both_ways(seed, names)
    places = {line.place_code: line.place_id for line in lines.values()}
    sample = FloorSample.objects.create(
        seed=seed, list_as_of=now, list_sha256=fingerprint(names), drawn_at=now, drawn_by=by
    )
    things = [
        SampledThing(
            sample=sample,
            number=number,
            way=LIST_TO_FLOOR,
            lot_id=lines[name].lot_id,
            place_id=lines[name].place_id,
            count_class=lines[name].count_class,
        )
        for number, name in enumerate(chosen.lines, start=1)
    ]
    things += [
        SampledThing(sample=sample, number=number, way=FLOOR_TO_LIST, place_id=places[code])
        for number, code in enumerate(chosen.places, start=len(things) + 1)
    ]
    SampledThing.objects.bulk_create(things)
    return sample


@transaction.atomic
def keep_finding(
    *, thing: SampledThing, found: str, by: Person, now: datetime, on_list: str = "", note: str = ""
) -> SampleFinding:
    """Writes down what was found. From list to floor: the number, held against the book of this minute.

    From floor to list: the animal in words, and ``on_list``, the accession number under which the list has it
    in that place; blank: it is not on the list, which is wrong.
    """
    _require(by)
    held = SampledThing.objects.select_related("sample", "place").get(pk=thing.pk)
    if SampleFinding.objects.filter(thing=held).exists():
        raise SampleRefused(f"Number {held.number} has its finding already; it stays as it is.")
    if not found.strip():
        raise SampleRefused("Write what was found; zero is a number.")
    book: int | None = None
    if held.lot_id is not None:
        try:
            number = read_whole(found)
        except ValueError as error:
            raise SampleRefused(str(error)) from error
        book = present(held_at([Point(held.lot_id, held.place_id, now + _A_MINUTE)])[0])
        right = is_right(held.count_class, book, number or 0, settings_in_use())
    else:
        if on_list and on_list not in lots_of_places([held.place_id])[held.place_id]:
            raise SampleRefused(
                f"The book has no {on_list} in {held.place.code} now; leave it blank if none fits."
            )
        right = bool(on_list)
        found = f"{found.strip()}, {on_list}" if on_list else found
    return SampleFinding.objects.create(
        thing=held,
        found=found.strip()[:200],
        book=book,
        right=right,
        found_at=now,
        found_by=by,
        note=note[:300],
    )


def _require(by: Person) -> None:
    roles = roles_of(by.user) if by.user else frozenset()
    if roles.isdisjoint(SAMPLES):
        raise SampleRefused(
            f"{by.name} may not test the list against the floor: it is for the role "
            f"{in_words(SAMPLES, joined='or')}."
        )
