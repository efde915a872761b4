"""Behind a pooler that lends connections for a transaction nothing is prepared (TIDETALLY_PREPARED=0)."""

import pytest
from django.db import connection
from django.db.backends.postgresql.base import DatabaseWrapper

from inventory.db.trips import Statement, ask
from inventory.site.databases import from_url

ON_POSTGRESQL = connection.vendor == "postgresql"
MARK = "SELECT %s::integer AS prepared_or_not"


@pytest.mark.parametrize(("set_to", "threshold"), [(1, 0), (0, None)])
def test_the_setting_reaches_the_driver(
    monkeypatch: pytest.MonkeyPatch, set_to: int, threshold: int | None
) -> None:
    """The driver prepares at the fifth time unless told None, which Django does where nothing is said."""
    monkeypatch.setattr("inventory.site.databases.PREPARED", set_to)
    told = {"TIME_ZONE": None, **from_url("postgres://house@localhost/tides")}
    assert DatabaseWrapper(told).get_connection_params()["prepare_threshold"] == threshold


@pytest.mark.django_db
@pytest.mark.skipif(not ON_POSTGRESQL, reason="statements are prepared on PostgreSQL only")
@pytest.mark.parametrize(("threshold", "kept"), [(0, 1), (None, 0)])
def test_a_statement_asked_often_is_prepared_only_where_it_may_be(
    monkeypatch: pytest.MonkeyPatch, threshold: int | None, kept: int
) -> None:
    connection.ensure_connection()
    monkeypatch.setattr(connection.connection, "prepare_threshold", threshold)
    # Texts of their own, for what was prepared before stays on the connection.
    sql = f"{MARK}_{kept}"
    for number in range(7):
        assert ask([Statement(sql, (number,))]) == [[(number,)]]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_prepared_statements WHERE statement LIKE %s",
            [f"%AS prepared_or_not_{kept}"],
        )
        assert cursor.fetchone() == (kept,)
