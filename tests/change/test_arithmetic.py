"""The arithmetic of the population change against a naive simulation, animal by animal."""

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from census.change.rules.arithmetic import (
    Change,
    closing_by_row,
    population_change,
    rows_of_cells,
    ties,
    totals_by_unit,
)
from census.change.rules.columns import COLUMNS, FLOW_COLUMNS, SIGNS
from inventory.book.queries.quantities import Pair
from inventory.book.rules.ends import CellEnd as Cell
from inventory.book.rules.kinds import ARRIVALS, DEPARTURES
from inventory.book.rules.mfu import mfu
from inventory.book.rules.scope import Scope

# lot: taxon, unit, owner. Two lots of one taxon; one lent to us; one of another unit.
LOTS = {1: (10, "animal", ""), 2: (10, "animal", "lender"), 3: (20, "animal", ""), 4: (20, "egg case", "")}
PLACES = {101: False, 102: False, 103: True}  # place: off site
SEXES = ("male", "female", "unknown")

ROWS: dict[str, Callable[[Cell], Hashable]] = {
    "taxon": lambda c: (c.taxon_id, c.unit),
    "place": lambda c: (c.place_id, c.taxon_id, c.unit),
    "lot": lambda c: (c.lot_id, c.unit),
}


def _inside(lot: int, place: int, sex: str, missing: bool) -> Cell:
    taxon, unit, owner = LOTS[lot]
    return Cell(lot, taxon, unit, owner, place, PLACES[place], sex, "missing" if missing else "present")


def _outside(lot: int, cause: str) -> Cell:
    taxon, unit, owner = LOTS[lot]
    return Cell(lot, taxon, unit, owner, None, False, "unknown", "present", cause)


@dataclass
class Transition:
    """One step of one animal's life. ``when`` is before, late or inside."""

    when: str
    kind: str
    back: bool
    a: Cell
    b: Cell


@st.composite
def lives(draw: st.DrawFn) -> list[Transition]:
    """Transitions of a handful of animals, each a possible life."""
    made = []
    for _ in range(draw(st.integers(0, 6))):
        lot = draw(st.sampled_from(sorted(LOTS)))
        arrival = draw(st.sampled_from([kind.value for kind in ARRIVALS]))
        place = draw(st.sampled_from(sorted(PLACES)))
        here = _inside(lot, place, draw(st.sampled_from(SEXES)), False)
        whens = sorted(draw(st.lists(st.sampled_from(["1before", "2inside"]), min_size=1, max_size=6)))
        life: list[Transition] = []
        a = _outside(lot, arrival)
        for i, when in enumerate(whens):
            moment = "inside" if when == "2inside" else draw(st.sampled_from(["before", "late"]))
            if i == 0:
                life.append(Transition(moment, arrival, False, a, here))
                continue
            act = draw(st.sampled_from(["move", "sex", "missing", "regroup", "leave", "reverse"]))
            if act == "move":
                target = here._replace(place_id=draw(st.sampled_from(sorted(PLACES))))
                target = target._replace(off_site=PLACES[target.place_id or 0])
            elif act == "sex":
                target = here._replace(sex=draw(st.sampled_from(SEXES)))
            elif act == "missing":
                target = here._replace(standing="present" if here.missing else "missing")
            elif act == "regroup":
                other = draw(st.sampled_from(sorted(LOTS)))
                target = _inside(other, here.place_id or 0, here.sex, here.missing)
            elif act == "leave":
                kind = draw(st.sampled_from([kind.value for kind in DEPARTURES]))
                out = _outside(here.lot_id, kind)
                life.append(Transition(moment, kind, False, here, out))
                if draw(st.booleans()):
                    life.append(Transition(moment, kind, True, out, here))
                    continue
                break
            else:
                out = _outside(here.lot_id, arrival)
                life.append(Transition(moment, arrival, True, here, out))
                break
            if target != here:
                life.append(Transition(moment, act, False, here, target))
                here = target
        made += life
    return made


def _naive(
    transitions: list[Transition], row_of: Callable[[Cell], Hashable], scope: Scope
) -> dict[Hashable, Counter[str]]:
    """Each animal's step by what was done to it, without looking at pairs of cells."""

    def counted(cell: Cell) -> Hashable | None:
        if cell.cause or (scope is Scope.HERE and cell.off_site) or (scope is Scope.OURS and cell.owner):
            return None
        return row_of(cell)

    rows: defaultdict[Hashable, Counter[str]] = defaultdict(Counter)
    for t in transitions:
        a, b = counted(t.a), counted(t.b)
        if a is not None:
            rows[a]["closing"] -= 1
            rows[a][f"closing {t.a.sex}"] -= 1
            rows[a]["missing"] -= t.a.missing
        if b is not None:
            rows[b]["closing"] += 1
            rows[b][f"closing {t.b.sex}"] += 1
            rows[b]["missing"] += t.b.missing
        if t.when in ("before", "late"):
            column = "opening" if t.when == "before" else "late"
            if a is not None:
                rows[a][column] -= 1
            if b is not None:
                rows[b][column] += 1
            continue
        if t.kind in [*ARRIVALS, *DEPARTURES]:
            row = a if a is not None else b
            if row is not None:
                rows[row][t.kind] += -1 if t.back else 1
        elif a != b:
            out, into = {
                "regroup": ("regrouped_out", "regrouped_in"),
                "move": ("moved_out", "moved_in"),
            }[t.kind]
            if t.kind == "move" and scope is Scope.HERE and t.a.off_site != t.b.off_site:
                out, into = "loan_out", "back_from_loan"
            if a is not None:
                rows[a][out] += 1
            if b is not None:
                rows[b][into] += 1
    return rows


def _run(
    transitions: list[Transition], row_of: Callable[[Cell], Hashable], scope: Scope
) -> tuple[dict[Hashable, Change], dict[Hashable, Change]]:
    """The arithmetic on the summed pairs, and the closing read from balances."""
    numbers: dict[Cell, int] = {}
    for t in transitions:
        for cell in (t.a, t.b):
            numbers.setdefault(cell, len(numbers))
    cells = {n: cell for cell, n in numbers.items()}
    opening: Counter[int] = Counter()
    closing: Counter[int] = Counter()
    pairs: dict[str, Counter[tuple[int, int]]] = {"late": Counter(), "inside": Counter()}
    for t in transitions:
        a, b = numbers[t.a], numbers[t.b]
        for number, n in ((a, -1), (b, 1)):
            if not cells[number].cause:
                closing[number] += n
                if t.when == "before":
                    opening[number] += n
        if t.when != "before":
            pairs[t.when][a, b] += 1
    rows = rows_of_cells(cells, row_of, scope)
    changes = population_change(
        opening=opening,
        flows=[Pair(a, b, n) for (a, b), n in pairs["inside"].items()],
        late=[Pair(a, b, n) for (a, b), n in pairs["late"].items()],
        cells=cells,
        rows=rows,
        scope=scope,
    )
    return changes, closing_by_row(closing, cells, rows)


@given(transitions=lives(), by=st.sampled_from(sorted(ROWS)), scope=st.sampled_from(Scope))
def test_every_column_equals_a_simulation_animal_by_animal(
    transitions: list[Transition], by: str, scope: Scope
) -> None:
    changes, read = _run(transitions, ROWS[by], scope)
    expected = _naive(transitions, ROWS[by], scope)
    for row in {*changes, *expected}:
        change, naive = changes.get(row, Change()), expected[row]
        assert change.opening == naive["opening"], row
        assert change.late == naive["late"]
        assert change.closing == naive["closing"]
        assert change.missing == naive["missing"]
        assert change.flows == {column: naive[column] for column in FLOW_COLUMNS}
        assert change.closing_by_sex == {sex: naive[f"closing {sex}"] for sex in change.closing_by_sex}
        assert sum(change.opening_by_sex.values()) == change.opening
        assert ties(change, read.get(row))


@given(transitions=lives(), by=st.sampled_from(sorted(ROWS)), scope=st.sampled_from(Scope))
def test_totals_tie_and_moves_and_regroups_of_the_house_are_zero(
    transitions: list[Transition], by: str, scope: Scope
) -> None:
    changes, read = _run(transitions, ROWS[by], scope)
    totals = totals_by_unit((row[-1], change) for row, change in changes.items())  # type: ignore[index]
    read_totals = totals_by_unit((row[-1], change) for row, change in read.items())  # type: ignore[index]
    for unit, total in totals.items():
        assert ties(total, read_totals.get(unit))
        assert total.closing == total.opening + total.late + sum(
            SIGNS[column] * n for column, n in total.flows.items()
        )
    house = Change()
    for total in totals.values():
        house.add(total)
    assert house.flows["moved_in"] == house.flows["moved_out"]
    if scope is not Scope.OURS:  # between owners a regroup leaves what is ours
        assert house.flows["regrouped_in"] == house.flows["regrouped_out"]


def test_a_change_that_does_not_tie_is_told() -> None:
    assert not ties(Change(opening=3), Change(opening=4))
    assert not ties(Change(), Change(missing=1))


def test_deaths_of_young_are_taken_out_of_the_deaths() -> None:
    change = Change(opening=10)
    change.flows["died"] = 7
    change.set_young_deaths(3)
    assert (change.flows["died"], change.flows["died_within_30_days"], change.closing) == (4, 3, 3)
    change.set_young_deaths(2)
    assert (change.flows["died"], change.flows["died_within_30_days"], change.closing) == (5, 2, 3)


def test_a_taxon_that_came_and_went_in_the_period_is_not_empty() -> None:
    change = Change()
    assert change.empty
    change.flows["taken"] = change.flows["died"] = 3
    assert change.closing == 0
    assert not change.empty


def test_every_kind_of_arrival_and_departure_has_its_column() -> None:
    assert {kind.value for kind in (*ARRIVALS, *DEPARTURES)} <= set(COLUMNS)


@pytest.mark.parametrize(
    ("numbers", "printed"), [((2, 6, 1, 0), "2.6.1"), ((0, 0, 1, 4), "0.0.5"), ((1, 2, 0, -3), "1.2.-3")]
)
def test_hermaphrodites_are_printed_with_the_unknown(
    numbers: tuple[int, int, int, int], printed: str
) -> None:
    assert mfu(*numbers) == printed
