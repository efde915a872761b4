"""What the database's planner knows of the size of tables."""

from collections.abc import Iterable

from django.db import connection, models


def refresh_statistics(of: Iterable[type[models.Model]]) -> None:
    """Lets PostgreSQL count the tables of these models again.

    It plans by statistics that its own housekeeping gathers after a commit. A load that fills empty
    tables in one transaction would keep the plans of empty tables to its end, and look for each
    foreign key by reading a whole table. SQLite's plans do not depend on it.
    """
    if connection.vendor == "postgresql":
        tables = ", ".join(connection.ops.quote_name(model._meta.db_table) for model in of)
        with connection.cursor() as cursor:
            cursor.execute(f"ANALYZE {tables}")
