"""All that is held about a person: every row that refers to them, and every text in which their name stands.

Rooms above this one are not known here; their tables are found where Django keeps the list of them, so that
a new table is never forgotten.
"""

import json
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.contrib.auth import get_user_model
from django.db.models import CharField, Field, ForeignKey, JSONField, Model, Q, TextField
from django.db.models.functions import Cast

from ..models import Person

# What opens something or proves something, and tells nothing about anybody.
_WITHHELD = re.compile(r"hash|password|token|secret|^data$|session_data|^key$|pass$")
# A shorter one stands in any text.
_SHORTEST = 4


@dataclass(frozen=True, slots=True)
class Mention:
    """Rows of a table in whose ``column`` one of the words stands."""

    table: str
    column: str
    rows: int


def personal_data(person: Person) -> dict[str, list[dict[str, Any]]]:
    """By table: every row that refers to the person or their sign-in, hashes and secrets left out.

    As many queries as there are tables that refer to people, however many rows they have.
    """
    held: dict[str, list[dict[str, Any]]] = {}
    user = person.user
    for model in _models():
        wanted = Q(pk__in=())
        for column in _relations(model):
            target = column.remote_field.model
            if target is Person:
                wanted |= Q(**{column.name: person.pk})
            elif user is not None:
                wanted |= Q(**{column.name: user.pk})
        if model is Person:
            wanted |= Q(pk=person.pk)
        elif model is get_user_model() and user is not None:
            wanted |= Q(pk=user.pk)
        columns = [column.attname for column in _columns(model) if not _WITHHELD.search(column.name)]
        rows = list(model._base_manager.filter(wanted).order_by("pk").values(*columns))
        if rows:
            held[model._meta.db_table] = rows
    return held


def words_of(person: Person) -> list[str]:
    """What the person is called in texts: name, sign-in, e-mail address."""
    user = person.user
    said = [person.name, *((user.username, user.email, user.get_full_name()) if user else ())]
    return list(dict.fromkeys(word for word in said if len(word) >= _SHORTEST))


def mentions(words: Collection[str]) -> list[Mention]:
    """Where any of ``words`` stands in a text of the database, whatever its case. One query for each column
    of text. What stands inside of files (papers, scans, frozen returns) is not looked at."""
    found = []
    for model in _models():
        for column in _columns(model):
            if not isinstance(column, CharField | TextField | JSONField) or _WITHHELD.search(column.name):
                continue
            spelled = {*words, *(json.dumps(word)[1:-1] for word in words)}
            wanted = Q(pk__in=())
            for word in spelled:
                wanted |= Q(_said__icontains=word)
            rows = model._base_manager.annotate(_said=Cast(column.name, TextField())).filter(wanted).count()
            if rows:
                found.append(Mention(model._meta.db_table, column.column, rows))
    return found


def _models() -> Iterator[type[Model]]:
    found = [model for model in apps.get_models(include_auto_created=True) if model._meta.managed]
    return iter(sorted(found, key=lambda model: model._meta.db_table))


def _columns(model: type[Model]) -> "list[Field[Any, Any]]":
    return list(model._meta.local_concrete_fields)


def _relations(model: type[Model]) -> "list[ForeignKey[Any, Any]]":
    people = (Person, get_user_model())
    columns = [column for column in _columns(model) if isinstance(column, ForeignKey)]
    return [column for column in columns if column.remote_field.model in people]
