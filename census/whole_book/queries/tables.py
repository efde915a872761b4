"""The tables of the book, read off the models of every room; their meanings are in the dictionary."""

from collections.abc import Iterator
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models
from django.db.models import Field, ForeignKey, Model

from ..rules.secrets import TABLES, why_left_out
from ..rules.shapes import Column, Kind, Table
from .meanings import said_of, table_meaning

_HOUSES = ("inventory.", "census.")
# In this order, for a subclass stands before what it is made of.
_KINDS: tuple[tuple[type["Field[Any, Any]"], Kind], ...] = (
    (models.BooleanField, Kind.TRUTH),
    (models.DecimalField, Kind.DECIMAL),
    (models.IntegerField, Kind.WHOLE),
    (models.DateTimeField, Kind.MOMENT),
    (models.DateField, Kind.DAY),
    (models.UUIDField, Kind.UUID),
    (models.JSONField, Kind.JSON),
    (models.CharField, Kind.TEXT),
    (models.TextField, Kind.TEXT),
)


class NoKind(Exception):
    """A column of a kind that no form knows: say in ``_KINDS`` what it is."""


def models_out() -> list[type[Model]]:
    """Every model of ours, relations of many to many among them, by the name of its table."""
    ours = (
        model
        for model in apps.get_models(include_auto_created=True)
        if model.__module__.startswith(_HOUSES) and model._meta.managed
    )
    return sorted(ours, key=lambda model: model._meta.db_table)


def tables_out(*, positions: bool) -> list[tuple[type[Model], Table]]:
    """What goes out. ``positions``: exact places too."""
    return [(model, _table(model, positions)) for model in models_out() if model._meta.db_table not in TABLES]


@cache
def _table(model: type[Model], positions: bool) -> Table:
    name = model._meta.db_table
    columns, left_out = [], []
    for field in model._meta.concrete_fields:
        why = why_left_out(name, field.column, positions=positions)
        if why:
            left_out.append((field.column, why))
        else:
            columns.append(_column(name, field))
    return Table(name, table_meaning(model), tuple(columns), tuple(left_out))


def _column(table: str, field: "Field[Any, Any]") -> Column:
    target = field.target_field if isinstance(field, ForeignKey) else field
    said = said_of(table, field)
    decimal = target if isinstance(target, models.DecimalField) else None
    return Column(
        name=field.column,
        field=field.attname,
        kind=_kind(target),
        meaning=said.meaning,
        unit=said.unit,
        term=said.term,
        to=target.model._meta.db_table if isinstance(field, ForeignKey) else "",
        values=tuple(_values(field)),
        empty=field.null,
        digits=decimal.max_digits or 0 if decimal else 0,
        places=decimal.decimal_places or 0 if decimal else 0,
    )


def _kind(field: "Field[Any, Any]") -> Kind:
    for is_a, kind in _KINDS:
        if isinstance(field, is_a):
            return kind
    raise NoKind(f"{field.model._meta.db_table}.{field.column} is a {type(field).__name__}")


def _values(field: "Field[Any, Any]") -> Iterator[str]:
    for value, _words in field.flatchoices:
        if value not in (None, ""):
            yield str(value)
