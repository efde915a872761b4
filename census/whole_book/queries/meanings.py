"""What a column means: the words written for it, else its field's help text, else those of all so named.

``meanings.csv`` beside this room has ``table,column,meaning,unit,term``; ``*`` as the table stands for all
tables in which the column has no words of its own. A test fails when a column has no meaning.
Terms are those of Darwin Core (Biodiversity Information Standards, TDWG).
"""

import csv
from dataclasses import dataclass
from functools import cache
from inspect import cleandoc
from pathlib import Path
from typing import Any

from django.db.models import Field, Model

_FILE = Path(__file__).parent.parent / "meanings.csv"


@dataclass(frozen=True, slots=True)
class Said:
    """Of one column. ``term``: the term of Darwin Core with the same meaning."""

    meaning: str
    unit: str = ""
    term: str = ""


@cache
def written() -> dict[tuple[str, str], Said]:
    """The written words by table and column."""
    with _FILE.open(encoding="utf-8", newline="") as file:
        return {
            (row["table"], row["column"]): Said(row["meaning"], row["unit"], row["term"])
            for row in csv.DictReader(file)
        }


def said_of(table: str, field: "Field[Any, Any]") -> Said:
    """The words of one column; an empty meaning where nobody has said any."""
    own = written().get((table, field.column))
    if own:
        return own
    alike = written().get(("*", field.column), Said(""))
    helped = str(field.help_text).strip()
    return Said(helped, alike.unit, alike.term) if helped else alike


def table_meaning(model: type[Model]) -> str:
    """The written words of a table, else the first paragraph of what its model says of itself."""
    own = written().get((model._meta.db_table, ""))
    if own:
        return own.meaning
    told = cleandoc(model.__doc__ or "").split("\n\n")[0].replace("\n", " ").replace("``", "")
    # Django's own words for a model without any name its columns.
    return "" if told.startswith(f"{model.__name__}(") else told
