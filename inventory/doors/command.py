"""What the commands of a house share: a database that is there."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import OperationalError, ProgrammingError


class HouseCommand(BaseCommand):
    """A command typed at a prompt: makes the tables of a new database, tells when they are too old."""

    def run_from_argv(self, argv: list[str]) -> None:
        """As Django's, with the tables seen to first; code that calls a command sees to them itself."""
        if "--help" not in argv and "-h" not in argv:
            self._make_tables_of_a_new_database()
        super().run_from_argv(argv)

    def execute(self, *args: Any, **options: Any) -> str | None:
        """As Django's; a table that is not there is told as what it is."""
        try:
            return super().execute(*args, **options)
        except (OperationalError, ProgrammingError) as error:
            executor = MigrationExecutor(connection)
            if executor.migration_plan(executor.loader.graph.leaf_nodes()):
                raise CommandError(
                    "The database is older than the program. Back it up, then run: python manage.py migrate"
                ) from error
            raise

    def _make_tables_of_a_new_database(self) -> None:
        if "django_migrations" not in connection.introspection.table_names():
            call_command("migrate", verbosity=0)
            self.stderr.write(f"Made the tables of a new database: {connection.settings_dict['NAME']}")
