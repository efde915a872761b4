"""System check: every trigger that the models declare is in the database."""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections
from django.db.migrations.executor import MigrationExecutor

from . import triggers


@register(Tags.database)
def triggers_are_in_place(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Run by ``check --database default`` and by ``migrate``.

    Says nothing of a database that has steps before it: one of them may bring the trigger, and an
    error here would keep ``migrate`` from taking it.
    """
    found: list[CheckMessage] = []
    for alias in databases or ():
        if _has_steps_before_it(alias):
            continue
        for name in triggers.missing(connections[alias]):
            found.append(
                Error(
                    f"The trigger {name} is not in the database {alias!r}.",
                    hint="Add InstallTriggers to the end of the migration that rebuilt its table.",
                    id="db.E001",
                )
            )
    return found


def _has_steps_before_it(alias: str) -> bool:
    executor = MigrationExecutor(connections[alias])
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
