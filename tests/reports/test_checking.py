"""The quick ways of a long report say what the plain ones say."""

from functools import partial

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from census.change.rules.arithmetic import Change
from census.change.rules.columns import FLOW_COLUMNS
from census.change.rules.figures import SUMS
from census.reports.queries.asking import figure, figures_of
from census.reports.rules.checking import Check, failures, held
from census.reports.rules.document import Block, Column, Document, Figure, Identity, Line, Part, Said, Table

NAMES = ("opening", "late", "closing", "missing", *FLOW_COLUMNS, *SUMS)
NUMBERS = st.integers(-3, 3)


@given(
    opening=NUMBERS,
    late=NUMBERS,
    missing=NUMBERS,
    flows=st.dictionaries(st.sampled_from(FLOW_COLUMNS), NUMBERS),
)
def test_all_figures_of_a_row_at_once_are_each_figure_by_itself(
    opening: int, late: int, missing: int, flows: dict[str, int]
) -> None:
    change = Change(opening=opening, late=late, missing=missing)
    change.flows.update(flows)
    asked = {"unit": "animal"}
    assert figures_of(change, NAMES, asked) == {name: figure(change, name, asked) for name in NAMES}


COLUMNS = ("a", "b", "c")
TIES = (Identity(("a",), ("b",), "c"), Identity(("a", "b"), (), "c"))
ROWS = st.lists(
    st.tuples(st.tuples(*(st.none() | st.integers(-2, 2) for _ in COLUMNS)), st.booleans()), max_size=5
)


@given(
    rows=ROWS,
    sign=st.sampled_from((1, -1)),
    said=st.integers(-2, 2),
    total=st.tuples(NUMBERS, NUMBERS, NUMBERS),
)
def test_what_does_not_tie_is_what_the_plain_sums_say(
    rows: list[tuple[tuple[int | None, ...], bool]], sign: int, said: int, total: tuple[int, int, int]
) -> None:
    figures = [dict(zip(COLUMNS, map(Figure, values), strict=True)) for values, _ in rows]
    lines = [
        Line(i, None, f"row {i}", partial(dict, made), sign=sign, free=free)
        for i, (made, (_, free)) in enumerate(zip(figures, rows, strict=True))
    ]
    of_all = dict(zip(COLUMNS, map(Figure, total), strict=True))
    table = Table("animal", lines, of_all)
    part = Part("p", "Part", "", [Column(key, key) for key in COLUMNS], [Block("", [], [table])], TIES)
    document = Document("taxa", "", [], [part], [], said=[Said("said", "p", "a", "animal", said)])
    check = Check(document)
    for line, made in zip(lines, figures, strict=True):
        check.line(part, table, line, made)
    wrong = [
        f"line {line.number}, {line.label}"
        for line in lines
        if any(one.off for one in held(part, line, line.figures))
    ]
    sums = {key: sum(sign * made[key].number for made in figures) for key in COLUMNS}
    if sums != dict(zip(COLUMNS, total, strict=True)) or any(one.off for one in held(part, None, of_all)):
        wrong.append("total of Part (animal)")
    if sum(made["a"].number for made in figures) != said:
        wrong.append("said (animal)")
    assert check.failures() == wrong


@given(
    rows=st.lists(st.tuples(st.tuples(NUMBERS, NUMBERS, NUMBERS), st.sampled_from(("x", "y"))), max_size=5),
    said=st.integers(-2, 2),
    label=st.sampled_from(("", "x")),
    total=st.tuples(NUMBERS, NUMBERS, NUMBERS),
)
def test_whole_columns_are_checked_as_their_lines_are(
    rows: list[tuple[tuple[int, int, int], str]], said: int, label: str, total: tuple[int, int, int]
) -> None:
    lines = [
        Line(i, None, words, partial(dict, zip(COLUMNS, map(Figure, values), strict=True)))
        for i, (values, words) in enumerate(rows)
    ]
    of_all = dict(zip(COLUMNS, map(Figure, total), strict=True))
    held_by = {
        key: np.array([values[i] for values, _ in rows], dtype=np.int64) for i, key in enumerate(COLUMNS)
    }
    # A column in which all is 0 may be missing.
    held_by = {key: column for key, column in held_by.items() if column.any()}
    found = []
    for numbers in (None, lambda: held_by):
        table = Table("animal", lines, of_all, numbers=numbers)
        part = Part("p", "Part", "", [Column(key, key) for key in COLUMNS], [Block("", [], [table])], TIES)
        told = [Said("said", "p", "a", "animal", said, label)]
        found.append(failures(Document("taxa", "", [], [part], [], said=told)))
    assert found[0] == found[1]
