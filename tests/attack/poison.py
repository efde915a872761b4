"""Writes a string of an attacker into every text of the house, and says which texts are left out and why."""

import re
from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import CharField, Field, Model, TextField

from inventory.db import triggers

# A formula for a spreadsheet, the end of an attribute, an element, an attribute, a template's tag, an order
# of signs turned round, one without width, the ends of elements that hold raw text, a line of a header.
EVIL = (
    "=1+1\"'><i id=evil onevil=1>{{7*7}}{%debug%}'; DROP TABLE book_event;--\u202e\u200b"
    "</script></title></style></textarea><svg onload=evil>\r\nX-Evil: 1"
)
# Enough for a column of a few signs.
MARK = "=1+1\"'><i id=evil>"

# "room.model.column": why no person writes it. Whatever is not here is poisoned.
LEFT_OUT: dict[str, str] = {
    "book.cell.stage": "from the list of stages",
    "book.event.happened": "a moment in ISO 8601, or it is refused",
    "book.document.media_type": "told by the first bytes",
    "book.versionstatement.media_type": "written by the program",
    "book.versionstatement.name": "written by the program, and stands in addresses",
    "book.setting.name": "the name of a setting, from the list",
    "book.lot.count_class": "one letter, from the list",
    "names.namecheck.verdict": "from the list of verdicts",
    "people.roleterm.role": "the name of a role",
    "people.asked.key": "what is counted, hashed",
    "rounds.notice.role": "the name of a role",
    "rounds.decision.reason": "from the list of reasons",
    "rounds.decision.reason_group": "from the list of reasons",
    "rounds.approvalasked.reason": "from the list of reasons",
    "rounds.decision.stated": "what was stated, hashed",
    "rounds.drawnline.part": "from the list of parts",
    "rounds.line.count_class": "one letter, from the list",
    "rounds.draw.seed": "drawn by the program",
    "permits.permitversion.stock_statement": "a day and a month, or it is refused",
    "permits.returnrule.month_day": "a day and a month, or it is refused",
    "permits.returnfile.form": "the name of a form of file",
    "permits.trip.happened": "a moment in ISO 8601, or it is refused",
    "permits.permitline.sex": "from the list of sexes",
    "reports.reportjob.layout": "the name of a layout",
    "reports.reportjob.form": "the name of a form of file",
    "reports.reportjob.part": "the name of a part",
    "reports.savedreport.layout": "the name of a layout",
    "reports.savedreport.scope": "from a list",
    "reports.savedreport.period_rule": "from a list",
    "reports.savedreport.form": "the name of a form of file",
    "reports.savedreport.every": "from a list",
    "reports.savedreport.subject": "a choice out of what the house has",
    "tankside.reading.unit": "from the list of units",
    "tankside.wantedrange.unit": "from the list of units",
    "whole_book.floorsample.seed": "drawn by the program",
    "whole_book.sampledthing.way": "from a list",
    "whole_book.sampledthing.count_class": "one letter, from the list",
    **dict.fromkeys(
        [f"permits.tradefacts.{name}" for name in ("country", "origin", "source", "purpose", "term", "unit")],
        "a code out of a list of CITES or ISO 3166",
    ),
}
# Made by the program out of what it holds: nobody can write them, and a changed one only breaks a check.
MADE = re.compile(r"hash$|sha256$|fingerprint$|^token|\.key$|^key$|^seed$")
# They stand in addresses, where a slash or a line's end would end them; who makes them makes none, and names
# are kept without line ends.
IN_ADDRESSES = (
    "rounds.census.code",
    "rounds.sheet.number",
    "book.period.code",
    "names.taxon.scientific_name",
)
_PROGRAMS_WORDS = {"unit": ("animal", "colony", "egg case", "egg mass", "piece")}


def text_columns() -> Iterator[tuple[type[Model], "Field[Any, Any]", str]]:
    """Every column of text without a list of choices, with its name "room.model.column"."""
    for model in sorted(apps.get_models(), key=lambda one: one._meta.label_lower):
        if not model.__module__.startswith(("inventory.", "census.")):
            continue
        for column in model._meta.local_concrete_fields:
            if isinstance(column, CharField | TextField) and not column.choices:
                yield model, column, f"{model._meta.label_lower}.{column.name}"


def is_poisoned(column: "Field[Any, Any]", name: str) -> bool:
    """Whether somebody can write it."""
    return name not in LEFT_OUT and MADE.search(column.name) is None


def poison() -> dict[str, int]:
    """Rows that hold the evil string now, by column. The triggers are off until the test is taken back.

    Texts that are blank stay blank where the blank says something: only those that are long enough for a
    sentence are filled.
    """
    triggers.remove(connection, triggers.DECLARED)
    written: dict[str, int] = {}
    for model, column, name in text_columns():
        if not is_poisoned(column, name):
            continue
        longest = column.max_length or 10_000
        rows = model._base_manager.all()
        if longest < 120:
            rows = rows.exclude(**{column.name: ""})
        rows = rows.exclude(**{f"{column.name}__in": _PROGRAMS_WORDS.get(column.name, ())})
        keys = list(rows.values_list("pk", flat=True))
        table, at, primary = model._meta.db_table, column.column, model._meta.pk.column
        with connection.cursor() as cursor:
            cursor.executemany(
                f'UPDATE {table} SET "{at}" = %s WHERE {primary} = %s',
                [(_evil(longest, key, name), key) for key in keys],
            )
        written[name] = len(keys)
    return written


def _evil(longest: int, key: Any, name: str) -> str:
    """Unlike any other in its column, and as long as the column takes."""
    end = f"~{key}"
    whole = EVIL if longest >= len(EVIL) + len(end) else MARK
    if name in IN_ADDRESSES:
        whole = whole.replace("/", "").replace("\r\n", "")
    return whole[: max(longest - len(end), 0)] + end if longest > len(end) else str(key)[:longest]
