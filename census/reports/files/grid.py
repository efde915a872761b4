"""A part as plain rows for files: leading columns, then every column of the part by itself."""

from collections.abc import Mapping

from ..rules.document import Column, Figure, Kind, Line, Part, Table

Value = int | float | str | None


def leading(part: Part) -> list[str]:
    """Headings before the figures."""
    names = ["name", "typed as", "common name", "count class"] if part.named else []
    return ["line", *([part.label] if part.label else []), *names, "unit"]


def headings(part: Part) -> list[str]:
    """All headings of a part; what stands small under a column says so before its own."""
    found, above = [], ""
    for column in part.columns:
        words = f"{above}: {column.heading}" if column.under else column.heading
        if not column.under:
            above = column.heading
        found.append(f"{words} ({column.mark})" if column.mark else words)
    return [*leading(part), *found]


def row_of(part: Part, table: Table, line: Line, figures: Mapping[str, Figure] | None = None) -> list[Value]:
    """One line, with its figures as numbers where they are numbers; they are made when not given."""
    figures = line.figures if figures is None else figures
    return [*_lead(part, table, line), *(figures[column.key].value for column in part.columns)]


def total_of(part: Part, table: Table) -> list[Value]:
    """The total of a table; its unit says that it is one, so that no sum by unit takes it in."""
    lead: list[Value] = [None for _ in leading(part)]
    lead[-1] = f"{table.unit} (total)"
    lead[1 if len(lead) > 2 else 0] = table.total_label
    return [*lead, *(table.total[column.key].value for column in part.columns)]


def _lead(part: Part, table: Table, line: Line) -> list[Value]:
    label: list[Value] = [line.label] if part.label else []
    name: list[Value] = []
    if part.named:
        one = line.name
        name = [one.accepted, "; ".join(one.typed), one.common, one.count_class] if one else ["", "", "", ""]
    return [line.number, *label, *name, table.unit]


def counts(column: Column) -> bool:
    """Whether a column holds numbers."""
    return column.kind in (Kind.NUMBER, Kind.SIGNED)
