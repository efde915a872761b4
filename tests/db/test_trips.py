"""Statements that go together: the same answers, the same errors, fewer trips."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import IntegrityError, connection, connections, transaction
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Place
from inventory.db.insert import change_row, insert_few, insert_rows
from inventory.db.kept import let_go_of_replaced
from inventory.db.prepared import Prepared, read_ahead
from inventory.db.together import write_together
from inventory.db.trips import Statement, ask, going_along, tell

from ..factories import make_place

CODES = Prepared(
    lambda some: Place.objects.filter(code__in=some).order_by("code").values_list("code", "name"),
    [Place._meta.get_field("code")],
)
ON_POSTGRESQL = connection.vendor == "postgresql"


def row(code: str) -> dict[str, object]:
    names = [column.attname for column in Place._meta.concrete_fields if column.attname != "id"]
    place = Place(code=code, name=f"Tank {code}", kind="tank")
    return {name: getattr(place, name) for name in names}


@pytest.mark.django_db
def test_what_was_read_ahead_is_answered_once_and_then_asked_anew() -> None:
    make_place("P1", name="one")
    with CaptureQueriesContext(connection) as asked:
        with read_ahead(CODES.of(["P1"]), CODES.of(["P1", "P2"]), CODES.of([])):
            ahead = len(asked)
            assert CODES(["P1"]) == [("P1", "one")]
            assert len(asked) == (2 if ON_POSTGRESQL else 1)
            Place.objects.filter(code="P1").update(name="another")
            assert CODES(["P1"]) == [("P1", "another")]
        # What nobody asked inside is not kept for later.
        assert CODES(["P2", "P1"]) == [("P1", "another")]
    assert ahead == (2 if ON_POSTGRESQL else 0)


@pytest.mark.django_db
def test_rows_are_inserted_and_changed_beside_each_other() -> None:
    """As the ORM would, in the order in which they are said."""
    kept = make_place("P1")
    added, _ = ask([insert_few(Place, [row("P2"), row("P3")]), change_row(Place, kept.pk, name="Kelp Hall")])
    assert added == []
    assert CODES(["P1", "P2", "P3"]) == [("P1", "Kelp Hall"), ("P2", "Tank P2"), ("P3", "Tank P3")]


@pytest.mark.django_db
def test_what_the_database_refuses_on_the_way_is_raised_as_ever_and_nothing_after_it_is_kept() -> None:
    kept = make_place("P1")
    with pytest.raises(IntegrityError), transaction.atomic():
        ask([insert_few(Place, [row("P1")]), change_row(Place, kept.pk, name="changed")])
    assert CODES(["P1"]) == [("P1", kept.name)]
    assert ask([Statement("SELECT %s + 1", [1])]) == [[(2,)]]


@contextmanager
def noted() -> Iterator[list[str]]:
    """What is sent, in order, by its first words."""
    said: list[str] = []

    def note(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        answer = execute(sql, *rest)
        said.append("lock" if "advisory" in sql else sql.split(maxsplit=1)[0])
        return answer

    with connection.execute_wrapper(note):
        yield said


@pytest.mark.django_db
def test_what_is_told_goes_along_with_whatever_is_asked_next_and_before_it() -> None:
    kept = make_place("P1", name="one")
    with noted() as said, going_along():
        tell([insert_few(Place, [row("P2")]), change_row(Place, kept.pk, name="two")])
        assert len(said) == (0 if ON_POSTGRESQL else 2)
        assert CODES(["P1", "P2"]) == [("P1", "two"), ("P2", "Tank P2")]
        tell([change_row(Place, kept.pk, name="three")])
        # Django's own way of asking, which knows nothing of it.
        assert Place.objects.get(code="P1").name == "three"
        tell([change_row(Place, kept.pk, name="four")])
    assert said == ["INSERT", "UPDATE", "SELECT", "UPDATE", "SELECT", "UPDATE"]
    assert CODES(["P1"]) == [("P1", "four")]


@pytest.mark.django_db
def test_rows_that_are_copied_come_after_what_was_told_before_them() -> None:
    with going_along():
        tell([insert_few(Place, [row("P1")])])
        insert_rows(Place, list(row("P2")), [list(row("P2").values())])
    numbers = dict(Place.objects.filter(code__in=["P1", "P2"]).values_list("code", "id"))
    assert numbers["P1"] < numbers["P2"]


@pytest.mark.django_db
@pytest.mark.parametrize("asks_more", [True, False])
def test_what_is_told_and_refused_is_raised_before_the_end_and_nothing_is_kept(asks_more: bool) -> None:
    make_place("P1")

    def tell_the_same_code() -> None:
        with transaction.atomic(), going_along():
            tell([insert_few(Place, [row("P2")])])
            tell([insert_few(Place, [row("P1")])])
            if asks_more:
                CODES(["P1"])

    with pytest.raises(IntegrityError):
        tell_the_same_code()
    assert CODES(["P1", "P2"]) == [("P1", "Tank P1")]


@pytest.mark.django_db
def test_what_is_told_by_who_then_gives_up_is_never_sent() -> None:
    def give_up() -> None:
        with transaction.atomic(), going_along():
            tell([insert_few(Place, [row("P1")])])
            raise KeyError

    with noted() as said, pytest.raises(KeyError):
        give_up()
    assert said.count("INSERT") == (0 if ON_POSTGRESQL else 1)
    assert CODES(["P1"]) == []
    tell([insert_few(Place, [row("P2")])])
    assert CODES(["P2"]) == [("P2", "Tank P2")]


@pytest.mark.django_db
def test_in_a_group_the_lock_is_asked_for_first_and_a_late_refusal_reaches_its_caller() -> None:
    make_place("P1")

    def work() -> list[tuple[object, ...]]:
        found = CODES(["P1"])
        tell([insert_few(Place, [row("P1")])])
        return found

    with noted() as said, pytest.raises(IntegrityError):
        write_together(work)
    # In the group, and then once more alone. What is refused on the spot is not noted.
    kinds = [one for one in said if one in ("lock", "SELECT", "INSERT")]
    assert kinds == (["lock", "SELECT"] if ON_POSTGRESQL else ["SELECT"]) * 2
    assert CODES(["P1"]) == [("P1", "Tank P1")]


@pytest.mark.skipif(not ON_POSTGRESQL, reason="a file does not hang up")
@pytest.mark.django_db(transaction=True)
def test_a_request_lets_go_of_a_connection_that_its_server_has_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    ended = type(connections["default"])(connections["default"].settings_dict, alias="ended")
    monkeypatch.setattr(connections, "all", lambda initialized_only=False: [ended])
    try:
        ended.connect()
        with ended.cursor() as cursor:
            cursor.execute("SELECT pg_backend_pid()")
            (backend,) = cursor.fetchone()
        first = ended.connection
        let_go_of_replaced()
        assert ended.connection is first
        # Its end is waited for, at most ten seconds.
        assert ask([Statement("SELECT pg_terminate_backend(%s, 10000)", [backend])]) == [[(True,)]]
        let_go_of_replaced()
        assert ended.connection is None
    finally:
        ended.close()
