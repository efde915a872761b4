"""Moves a census along its way."""

from ..models import Census
from ..rules.states import census_steps
from ..rules.words import CensusState
from .refused import CensusRefused


def running(census: Census) -> Census:
    """The census as the database has it now, held for this transaction; refused when it is over."""
    held = Census.objects.select_for_update().select_related("period").get(pk=census.pk)
    if held.state in (CensusState.CLOSED, CensusState.ABANDONED):
        raise CensusRefused(f"The census {held.code} is {held.state}; nothing more is written to it.")
    return held


def move_census(census: Census, goal: CensusState) -> None:
    """Takes the census forward to ``goal`` if it is not there or beyond; never back."""
    state = Census.objects.select_for_update().values_list("state", flat=True).get(pk=census.pk)
    try:
        steps = census_steps(CensusState(state), goal)
    except ValueError as error:
        raise CensusRefused(f"{census.code}: {error}.") from None
    if steps:
        Census.objects.filter(pk=census.pk).update(state=steps[-1].value)
    census.state = steps[-1].value if steps else state
