"""The quick ways of a long report say what the plain ones say."""

from functools import partial

from hypothesis import given
from hypothesis import strategies as st

from census.change.rules.arithmetic import Change
from census.change.rules.columns import FLOW_COLUMNS
from census.change.rules.figures import SUMS
from census.reports.queries.asking import figure, figures_of
from census.reports.rules.checking import Check, held
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
