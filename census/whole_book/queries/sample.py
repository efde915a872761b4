"""What an inspector's sample is drawn from, and samples as they stand."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Prefetch, QuerySet, Sum

from census.rounds.rules.sampling import Acceptance, Sampled, accepted
from inventory.book.models import Cell, PlaceKind, Standing

from ..models import FloorSample, SampledThing
from ..rules.sample import FLOOR_TO_LIST


@dataclass(frozen=True, slots=True)
class ListLine:
    """A lot in a place, with something of it present."""

    lot_id: int
    place_id: int
    place_code: str
    count_class: str


def lines_on_the_premises() -> dict[str, ListLine]:
    """Every lot in every place of ours with something present now, by "place accession". One query."""
    rows = (
        Cell.objects.filter(inside=True, standing=Standing.PRESENT)
        .exclude(account__place__kind=PlaceKind.OFF_SITE)
        .exclude(balance=0)
        .values_list(
            "account__place__code",
            "lot__accession",
            "lot_id",
            "account__place_id",
            "lot__count_class",
            "lot__taxon__count_class",
        )
        .annotate(held=Sum("balance"))
        .filter(held__gt=0)
        .order_by()
    )
    return {
        f"{code} {accession}": ListLine(lot, place, code, own or of_taxon)
        for code, accession, lot, place, own, of_taxon, _held in rows
    }


def lots_of_places(places: Collection[int]) -> dict[int, dict[str, str]]:
    """By place, the accession number and name of all that the list has there, present. One query, or none."""
    found: dict[int, dict[str, str]] = {place: {} for place in places}
    if not places:
        return found
    rows = (
        Cell.objects.filter(inside=True, standing=Standing.PRESENT, account__place__in=places)
        .values_list("account__place_id", "lot__accession", "lot__taxon__scientific_name")
        .annotate(held=Sum("balance"))
        .filter(held__gt=0)
        .order_by("lot__taxon__scientific_name", "lot__accession")
    )
    for place, accession, name, _held in rows:
        found[place][accession] = name
    return found


@dataclass(frozen=True, slots=True)
class SampleRead:
    """A sample with its things and what was found."""

    sample: FloorSample
    things: list[SampledThing]
    acceptance: Acceptance

    @property
    def found(self) -> int:
        return sum(1 for thing in self.things if hasattr(thing, "finding"))

    @property
    def done(self) -> bool:
        return self.found == len(self.things)


def samples() -> QuerySet[FloorSample]:
    """All samples with all that is shown of them, the newest first."""
    things = SampledThing.objects.select_related("lot__taxon", "place", "finding__found_by").order_by(
        "number"
    )
    return FloorSample.objects.select_related("drawn_by").prefetch_related(
        Prefetch("things", things.order_by("number"))
    )


def read_sample(sample: FloorSample) -> SampleRead:
    """A sample of :func:`samples`, judged by what was found so far. No query."""
    things = list(sample.things.all())
    judged = [
        Sampled(thing.count_class, thing.finding.right, thing.way == FLOOR_TO_LIST)
        for thing in things
        if hasattr(thing, "finding")
    ]
    return SampleRead(sample, things, accepted(judged))
