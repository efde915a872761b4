"""``migrate``: Django's own, with every step recorded in the transaction that takes it."""

from typing import Any

from django.core.management.commands import migrate
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.state import ProjectState


class _WholeSteps(MigrationExecutor):
    """Django writes the tables of a step, and says in a transaction of its own that it is taken, where the
    step ends with an index or a key. Killed between the two, the next try finds tables that it wants to make.
    """

    def apply_migration(
        self, state: ProjectState, migration: Migration, fake: bool = False, fake_initial: bool = False
    ) -> ProjectState:
        if fake or fake_initial or not migration.atomic:
            return super().apply_migration(state, migration, fake=fake, fake_initial=fake_initial)
        if self.progress_callback:
            self.progress_callback("apply_start", migration, fake)
        with self.connection.schema_editor(atomic=True) as editor:
            state = migration.apply(state, editor)
            for sql in editor.deferred_sql:
                editor.execute(sql, None)
            editor.deferred_sql.clear()
            self.record_migration(migration)
        if self.progress_callback:
            self.progress_callback("apply_success", migration, fake)
        return state


class Command(migrate.Command):
    """The same options and words; only how a step is written differs."""

    def handle(self, *args: Any, **options: Any) -> None:
        # Django's command names its executor and offers no other way to give it one.
        vars(migrate)["MigrationExecutor"] = _WholeSteps
        super().handle(*args, **options)
