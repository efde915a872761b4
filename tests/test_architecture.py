"""What import-linter cannot see: relations by name, who writes the ledger, who reads the clock."""

import re
import subprocess
from pathlib import Path

import pytest
from django.apps import apps
from django.db import models

from inventory.db import triggers

from .sources import PROJECT, calls, files, shown

CODE = ("inventory", "census")


def _room(model: type[models.Model]) -> str:
    return model.__module__.partition(".")[0]


def test_no_inventory_model_relates_to_a_census_model() -> None:
    """A relation may be declared by a string, which import-linter does not see."""
    wrong = [
        f"{model.__name__}.{field.name} -> {related.__name__}"
        for model in apps.get_models()
        if _room(model) == "inventory"
        for field in (*model._meta.fields, *model._meta.many_to_many)
        if (related := field.remote_field and field.remote_field.model) and _room(related) == "census"
    ]
    assert wrong == []


LEDGER = {"Event", "Flow", "Cell"}
# How a row of the ledger is reached from another row.
LEDGER_RELATIONS = {"flows", "flows_in", "flows_out", "cells", "events_entered", "events_approved"}
WRITES = {
    "add", "bulk_create", "bulk_update", "create", "delete", "get_or_create", "save", "update",
    "update_or_create",
}  # fmt: skip
WRITERS = re.compile(r"inventory/book/actions/post\w*\.py")


def _writes_to_the_ledger(path: Path) -> list[str]:
    return [
        f"{shown(path)}:{line} {'.'.join(names)}"
        for line, names in calls(path)
        if names[-1:]
        and (
            (names[-1] in WRITES and (LEDGER | LEDGER_RELATIONS).intersection(names[:-1]))
            or (len(names) == 1 and names[0] in {*LEDGER, "insert_rows"})
        )
    ]


def test_only_the_ledgers_writer_makes_events_flows_and_cells() -> None:
    outside = [
        found
        for path in files(".py", under=CODE)
        if not WRITERS.fullmatch(shown(path)) and not shown(path).startswith("inventory/book/models/")
        for found in _writes_to_the_ledger(path)
    ]
    assert outside == []


def test_the_search_for_writes_finds_the_writer() -> None:
    """Without this, the test above could pass because it looks for the wrong thing."""
    writers = [path for path in files(".py", under=CODE) if WRITERS.fullmatch(shown(path))]
    found = " ".join(text for path in writers for text in _writes_to_the_ledger(path))
    assert all(name in found for name in ("Event", "Cell", "insert_rows"))


def test_no_sql_outside_the_models_writes_the_ledger() -> None:
    statement = re.compile(
        r"\b(insert\s+(or\s+\w+\s+)?into|update|delete\s+from)\s+\"?book_(event|flow|cell)\b", re.I
    )
    outside = [
        shown(path)
        for path in files(".py", under=CODE)
        if not shown(path).startswith("inventory/book/models/")
        and statement.search(path.read_text(encoding="utf-8"))
    ]
    assert outside == []


CLOCK = "inventory/doors/clock.py"
# The last names of a call that reads the time of day. Django's localdate() and localtime() do so
# when they are called with nothing: they are looked for apart.
READS_THE_CLOCK = {
    ("timezone", "now"), ("datetime", "now"), ("datetime", "utcnow"), ("datetime", "today"),
    ("date", "today"), ("time", "time"), ("time", "localtime"), ("time", "gmtime"),
    ("functions", "Now"), ("Now",),
}  # fmt: skip


def test_only_the_clock_reads_the_time_of_day() -> None:
    elsewhere = [
        f"{shown(path)}:{line} {'.'.join(names)}"
        for path in files(".py", under=CODE)
        if shown(path) != CLOCK
        for line, names in calls(path)
        if tuple(names[-2:]) in READS_THE_CLOCK
    ]
    bare = re.compile(r"\blocal(date|time)\(\)|\bauto_now(_add)?\s*=\s*True")
    elsewhere += [
        shown(path) for path in files(".py", under=CODE) if bare.search(path.read_text(encoding="utf-8"))
    ]
    assert elsewhere == []


def test_every_trigger_guards_a_table_of_a_model() -> None:
    tables = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
    assert {trigger.table for trigger in triggers.DECLARED.values()} <= tables


@pytest.mark.parametrize("table", ["book_event", "book_flow", "book_periodversion", "book_periodbalance"])
def test_the_ledger_tables_refuse_change_removal_and_truncation(table: str) -> None:
    """The rules of the ledger name these tables; each needs its three triggers."""
    guards = {trigger.name for trigger in triggers.DECLARED.values() if trigger.table == table}
    assert {f"{table}_no_update", f"{table}_no_delete", f"{table}_no_truncate"} <= guards


def test_removing_a_row_never_takes_a_row_of_the_book_with_it() -> None:
    cascading = [
        f"{model.__name__}.{field.name}"
        for model in apps.get_models()
        if model._meta.app_label == "book"
        for field in model._meta.fields
        if field.remote_field and getattr(field.remote_field, "on_delete", None) is models.CASCADE
    ]
    assert cascading == []


LONGEST = 400
LONGEST_TEST = 500


def test_files_stay_of_one_purpose() -> None:
    """Mostly under 300 lines; at 400 a file has two purposes. Tests spell out more."""
    written = files(".py", ".html", ".js")
    lengths = {shown(path): len(path.read_text(encoding="utf-8").splitlines()) for path in written}
    too_long = {
        name: length
        for name, length in lengths.items()
        if length > (LONGEST_TEST if name.startswith("tests/") else LONGEST)
    }
    assert too_long == {}


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=PROJECT, capture_output=True, text=True, check=False, timeout=60
    ).stdout.splitlines()
    if not tracked:
        pytest.skip("not a git work tree")
    top = {name.partition("/")[0] for name in tracked if not name.startswith(".")}
    assert top == {
        "README.md", "DEVELOPERS.md", "manage.py", "pyproject.toml", "requirements.lock",
        "inventory", "census", "tests", "fixtures",
    }  # fmt: skip
