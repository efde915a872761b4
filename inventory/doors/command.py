"""What the commands of a house share: a database that is there."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import DatabaseError, OperationalError, ProgrammingError

from .troubles import trouble_of


class HouseCommand(BaseCommand):
    """A command typed at a prompt: makes the tables of a new database, tells when they are too old."""

    def run_from_argv(self, argv: list[str]) -> None:
        """As Django's, with the tables seen to first; code that calls a command sees to them itself."""
        if "--help" not in argv and "-h" not in argv:
            try:
                self._make_tables_of_a_new_database()
            except DatabaseError as error:
                trouble = trouble_of(error)
                if trouble is None:
                    raise
                self.stderr.write(f"{trouble.words} {trouble.remedy}")
                raise SystemExit(1) from error
        super().run_from_argv(argv)

    def execute(self, *args: Any, **options: Any) -> str | None:
        """As Django's; a table that is not there is told as what it is."""
        try:
            return super().execute(*args, **options)
        except (OperationalError, ProgrammingError) as error:
            if _has_steps_before_it():
                raise CommandError(
                    "The database is older than the program. Back it up, then run: python manage.py migrate"
                ) from error
            trouble = trouble_of(error)
            if trouble:
                raise CommandError(f"{trouble.words} {trouble.remedy}") from error
            raise

    def _make_tables_of_a_new_database(self) -> None:
        if "django_migrations" not in connection.introspection.table_names():
            call_command("migrate", verbosity=0)
            self.stderr.write(f"Made the tables of a new database: {connection.settings_dict['NAME']}")


def _has_steps_before_it() -> bool:
    """False also where the database does not answer: then that is what is told."""
    try:
        executor = MigrationExecutor(connection)
        return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except DatabaseError:
        return False
