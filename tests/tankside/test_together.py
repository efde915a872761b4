"""What makes many entries at once quick: one commit for those that wait, and queries that are kept ready."""

import os
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext

from inventory.book.actions import post
from inventory.book.models import Lot, Place
from inventory.book.queries.settings import numbers_in_use
from inventory.db import together
from inventory.db.kept import let_go_of_replaced
from inventory.db.prepared import Instances, Prepared
from inventory.db.together import write_together

from ..factories import make_lot, make_place, make_taxon
from ..threads import at_once
from .conftest import Tablet, TankHouse

PATIENCE = 20.0


@pytest.fixture
def groups(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many works were written with each commit."""
    sizes: list[int] = []
    write = together._write

    def noted(group: Any) -> None:
        sizes.append(len(group))
        write(group)

    monkeypatch.setattr(together, "_write", noted)
    return sizes


def place(code: str) -> str:
    Place.objects.create(code=code, name=code, kind="tank")
    return code


def places() -> set[str]:
    """But for the place that every house begins with."""
    return set(Place.objects.exclude(code="LO").values_list("code", flat=True))


def behind_the_first(works: list[Callable[[], Any]]) -> list[Any]:
    """Lets one work begin, then lets the others come, and only then lets the first end."""
    begun, all_wait = threading.Event(), threading.Event()

    def first() -> str:
        begun.set()
        assert all_wait.wait(PATIENCE)
        return place("first")

    def do(work: Callable[[], Any]) -> Any:
        try:
            return write_together(work)
        except ValueError as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(works) + 1) as pool:
        leading = pool.submit(do, first)
        assert begun.wait(PATIENCE)
        others = [pool.submit(do, work) for work in works]
        until = time.monotonic() + PATIENCE
        while len(together._line.waiting) < len(works) and time.monotonic() < until:
            threading.Event().wait(0.01)
        waiting = len(together._line.waiting)
        all_wait.set()
        assert waiting == len(works), f"{waiting} of {len(works)} wait behind the first"
        return [leading.result(PATIENCE), *(one.result(PATIENCE) for one in others)]


@pytest.mark.django_db(transaction=True)
def test_those_who_wait_are_written_with_one_commit_and_each_gets_its_own_answer(groups: list[int]) -> None:
    codes = [f"W{n}" for n in range(5)]
    answers = behind_the_first([lambda code=code: place(code) for code in codes])  # type: ignore[misc]
    assert answers == ["first", *codes]
    assert groups == [1, 5]
    assert places() == {"first", *codes}


@pytest.mark.django_db(transaction=True)
def test_one_that_breaks_breaks_no_other_and_leaves_nothing(groups: list[int]) -> None:
    def breaks() -> None:
        place("broken")
        raise ValueError("it broke")

    answers = behind_the_first([lambda: place("W1"), breaks, lambda: place("W2")])
    assert answers[:2] + answers[3:] == ["first", "W1", "W2"]
    assert str(answers[2]) == "it broke"
    assert places() == {"W1", "W2", "first"}


@pytest.mark.django_db(transaction=True)
def test_what_is_refused_only_at_the_commit_is_told_to_its_own_caller(groups: list[int]) -> None:
    def orphan() -> None:
        Lot.objects.create(accession="X1", taxon_id=987_654, kind="group", unit="animal")

    def do() -> Any:
        try:
            write_together(orphan)
        except Exception as error:
            return type(error).__name__
        return None

    assert do() == "IntegrityError"
    assert write_together(lambda: place("W1")) == "W1"
    assert not Lot.objects.exists()
    # Each of the two led its own group; the first was done once more alone.
    assert groups == [1, 1]


@pytest.mark.django_db
def test_a_prepared_query_answers_as_django_does_for_lists_of_any_length() -> None:
    for n in range(7):
        make_place(f"P{n}")
    asked = Prepared(
        lambda some: Place.objects.filter(code__in=some).order_by("code").values_list("code", "name"),
        [Place._meta.get_field("code")],
    )
    for n in (1, 2, 4, 5, 7):
        codes = [f"P{one}" for one in range(n)]
        expected = list(Place.objects.filter(code__in=codes).order_by("code").values_list("code", "name"))
        assert asked(codes) == expected
        assert len(expected) == n
    with CaptureQueriesContext(connection) as nothing:
        assert asked([]) == []
    assert len(nothing) == 0
    assert asked(["P9"]) == []


@pytest.mark.django_db
def test_a_prepared_query_gives_instances_with_what_stands_beside_them() -> None:
    goby = make_taxon("Gobius niger", common_name="black goby")
    lot = make_lot("L1", taxon=goby)
    asked = Instances(
        lambda some: Lot.objects.filter(accession__in=some),
        [Lot._meta.get_field("accession")],
        model=Lot,
        beside="taxon",
    )
    (found,) = asked(["L1"])
    with CaptureQueriesContext(connection) as nothing:
        assert (found, found.taxon, found.taxon.common_name) == (lot, goby, "black goby")
    assert len(nothing) == 0
    assert {name: getattr(found, name) for name in ("kind", "unit", "held", "owner")} == {
        name: getattr(Lot.objects.get(pk=lot.pk), name) for name in ("kind", "unit", "held", "owner")
    }


@pytest.mark.django_db(transaction=True)
def test_a_prepared_query_serves_each_thread_on_its_own_connection() -> None:
    def asked(_: int) -> tuple[dict[str, int], int]:
        try:
            return numbers_in_use(), id(connections["default"])
        finally:
            connection.close()

    answers = at_once(asked, range(8))
    assert all(numbers == numbers_in_use() for numbers, _ in answers)


@pytest.mark.skipif("DATABASE_URL" in os.environ, reason="PostgreSQL's database is no file")
@pytest.mark.django_db(transaction=True)
def test_a_request_lets_go_of_a_file_that_was_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a restored backup does; a connection kept open would go on writing into the old file."""
    kept, copied = tmp_path / "kept.sqlite3", tmp_path / "restored.sqlite3"
    for path, word in ((kept, "old"), (copied, "restored")):
        with sqlite3.connect(path) as made:
            made.execute("CREATE TABLE told (word text)")
            made.execute("INSERT INTO told VALUES (?)", [word])
        made.close()
    settings = {**connections["default"].settings_dict, "NAME": str(kept)}
    wrapper = type(connections["default"])(settings, alias="kept")
    monkeypatch.setattr(connections, "all", lambda initialized_only=False: [wrapper])
    asked = "SELECT word FROM told"
    wrapper.connect()
    try:
        let_go_of_replaced()
        assert wrapper.connection is not None
        assert wrapper.connection.execute(asked).fetchone() == ("old",)
        shutil.move(copied, kept)
        let_go_of_replaced()
        assert wrapper.connection is None
        wrapper.connect()
        assert wrapper.connection is not None
        assert wrapper.connection.execute(asked).fetchone() == ("restored",)
    finally:
        wrapper.close()


@pytest.mark.django_db
def test_an_entry_that_the_ledger_refuses_while_it_is_written_comes_back_alone(
    house: TankHouse, tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written without savepoints first, it breaks the transaction; then once more with them."""
    insert = post._insert
    tried: list[bool] = []

    def refused(
        events: list[dict[str, Any]], flows: list[dict[str, Any]], ranges: list[dict[str, Any]]
    ) -> None:
        insert(events, flows, ranges)
        if events[0]["note"] == "refused":
            tried.append(True)
            insert(events, flows, ranges)

    monkeypatch.setattr(post, "_insert", refused)
    answers = tablet.send(
        tablet.entry(lot="G1", n=1), tablet.entry(lot="G1", n=2, note="refused"), tablet.entry(lot="G1", n=3)
    )
    assert [one["outcome"] for one in answers] == ["sent", "came back", "sent"]
    assert "in two places or in none" in answers[1]["problems"][0]["words"]
    assert house.held(house.gobies) == 196
    assert len(tried) == 2
