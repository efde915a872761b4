from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.utils.module_loading import import_string

# Functions that say which places' numbers are hidden from whom: see inventory/book/blind.py.
# By name only: what we hold knows nothing of how we count.
HIDDEN_BY = (
    "census.rounds.attention.places_hidden_from",
    "inventory.book.queries.keeping.places_of_others",
)
HIDDEN_FROM_ANYBODY_BY = ("census.rounds.attention.places_hidden_from_anybody",)
# Functions that say which animals were found absent: see inventory/permits/absences.py.
ABSENCES_BY = ("census.rounds.queries.absences.open_absences",)
# Functions that say which questions are open about lots: see inventory/permits/questions.py.
QUERIED_BY = ("census.rounds.queries.permit_questions.open_questions",)
# Functions that say which kept papers a room shows to whom: see inventory/book/withheld.py.
SHOWN_BY = ("census.rounds.queries.papers.shows",)
# Functions that write the papers of a closing: see inventory/book/statements.py.
STATED_BY = ("census.rounds.writers.statement.papers", "census.change.files.statement.papers")
# Functions that say which late entries ask for a closed period to be restated: see inventory/book/late.py.
WEIGHED_BY = ("census.rounds.queries.late_limits.limits_reached",)
# Functions that tell what a room says of a lot, a place or a permit: see inventory/book/history.py.
TOLD_BY = (
    "census.whole_book.queries.told_tankside.told",
    "census.whole_book.queries.told_permits.told",
    "census.whole_book.queries.told_census.told",
)


class SiteRoom(AppConfig):
    name = "inventory.site"
    label = "site"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from inventory.book import blind, history, late, statements, withheld
        from inventory.permits import absences, questions

        for name in HIDDEN_BY:
            # Asked for at the first question: at this moment not every room's models are there.
            blind.ask(_Named(name))
        for name in HIDDEN_FROM_ANYBODY_BY:
            blind.ask_of_all(_Named(name))
        for name in ABSENCES_BY:
            absences.ask(_Named(name))
        for name in QUERIED_BY:
            questions.ask(_Named(name))
        for name in SHOWN_BY:
            withheld.show(_Named(name))
        for name in TOLD_BY:
            history.ask(_Named(name))
        for name in WEIGHED_BY:
            late.ask(_Named(name))
        for name in STATED_BY:
            statements.ask(_Named(name))
        # WhiteNoise warns about a folder that collectstatic has not made yet, while it serves the
        # files from the rooms all the same; in the tests warnings are errors.
        Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)


class _Named:
    """A function that is imported when it is first called."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __call__(self, *about: Any) -> Any:
        named: Callable[..., Any] = import_string(self.name)
        return named(*about)
