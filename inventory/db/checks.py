"""System check: every trigger that the models declare is in the database."""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections

from . import triggers


@register(Tags.database)
def triggers_are_in_place(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Run by ``check --database default`` and by ``migrate``."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        for name in triggers.missing(connections[alias]):
            found.append(
                Error(
                    f"The trigger {name} is not in the database {alias!r}.",
                    hint="Add InstallTriggers to the end of the migration that rebuilt its table.",
                    id="db.E001",
                )
            )
    return found
