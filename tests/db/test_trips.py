"""Statements that go together: the same answers, the same errors, fewer trips."""

import pytest
from django.db import IntegrityError, connection, connections, transaction
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Place
from inventory.db.insert import change_row, insert_few
from inventory.db.kept import let_go_of_replaced
from inventory.db.prepared import Prepared, read_ahead
from inventory.db.trips import Statement, ask

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
