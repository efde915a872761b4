"""Lots whose animals are told apart by the stage of their life."""

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import tzinfo

from inventory.book.models import Cell
from inventory.book.queries.quantities import cell_balances, cell_facts, flows_of_lots
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.recording import STAGES

from ..rules.asked import Asked
from ..rules.staging import NOT_STATED, StageFlow, Stages, stages_seen
from .reading import Names, lots_of, names_of


@dataclass(frozen=True, slots=True)
class TaxonStages:
    """The stages of one taxon in the days asked."""

    taxon_id: int
    stages: Stages
    not_stated: int


def read_stages(asked: Asked, *, zone: tzinfo) -> tuple[list[TaxonStages], Names]:
    """Taxa with animals in two stages or more. Nine queries at most."""
    lots = lots_of(asked)
    since, before = start_of_day(asked.first_day, zone), end_of_day(asked.last_day, zone)
    facts = {
        key: fact
        for key, fact in cell_facts().items()
        if fact.lot_id in lots
        and asked.scope.holds(off_site=fact.off_site, owner=fact.owner)
        and asked.place in (None, fact.place_id)
    }
    numbers: list[defaultdict[int, Counter[str]]] = []
    for moment in (since, before):
        held: defaultdict[int, Counter[str]] = defaultdict(Counter)
        for cell, n in cell_balances(before=moment, known_at=asked.known_at).items():
            if cell in facts:
                held[facts[cell].taxon_id][facts[cell].stage] += n
        numbers.append(held)
    staged = {
        taxon
        for taxon in {*numbers[0], *numbers[1]}
        if len({*numbers[0][taxon], *numbers[1][taxon]} - {NOT_STATED}) > 1
    }
    chosen = [lot for lot, taxon in lots.items() if taxon in staged]
    flows: defaultdict[int, list[StageFlow]] = defaultdict(list)
    dated = flows_of_lots(chosen, since=since, before=before, known_at=asked.known_at) if chosen else []
    outside = _causes({cell for flow in dated for cell in (flow.from_cell, flow.to_cell)} - {*facts})
    for flow in dated:
        a, b, n = flow.from_cell, flow.to_cell, flow.n
        if flow.reversal:
            a, b, n = b, a, -n
        inside = facts.get(a) or facts.get(b)
        if inside is not None:
            flows[inside.taxon_id].append(
                StageFlow(
                    facts[a].stage if a in facts else "-",
                    facts[b].stage if b in facts else "-",
                    "" if a in facts else outside.get(a, "elsewhere"),
                    "" if b in facts else outside.get(b, "elsewhere"),
                    n,
                )
            )
    names = names_of()
    found = [
        TaxonStages(
            taxon,
            stages_seen(dict(numbers[0][taxon]), dict(numbers[1][taxon]), flows[taxon], STAGES),
            numbers[1][taxon][NOT_STATED],
        )
        for taxon in staged
    ]
    return sorted(found, key=lambda one: names.taxa[one.taxon_id]), names


def _causes(cells: set[int]) -> dict[int, str]:
    """The outside causes of cells; "elsewhere" where they are places. One query."""
    rows = Cell.objects.filter(pk__in=cells).values_list("pk", "account__cause")
    return {pk: cause or "elsewhere" for pk, cause in rows}
