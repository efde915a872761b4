"""Queries that are asked with every entry: their SQL is worked out once, not each time.

Django writes the text of a query anew whenever it is asked, which takes longer than SQLite needs to answer
a question with an index. A prepared query says in Django's own words what is asked, with slots where its
values go, and keeps the text for all threads of the process. On PostgreSQL the server keeps its plan too, for
each connection, and :func:`read_ahead` asks many of them in one trip.
"""

import threading
from collections.abc import Callable, Collection, Hashable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Generic, NamedTuple, TypeVar

from django.db import DEFAULT_DB_ALIAS, connection, connections, models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.expressions import Expression

from .trips import Statement, ask

# A list in a query is filled up to one of these lengths with its last value, so that few texts are kept.
_LENGTHS = (1, 4, 16, 64, 256, 1_024, 4_096, 10_000)

Row = TypeVar("Row", bound=models.Model)
# What turns a column into Python's values.
_Converters = list[tuple[int, Sequence[Callable[..., Any]], Any]]
# The SQL, and its parameters with slots among them.
_Text = tuple[str, Sequence[Any], _Converters]

# What each thread has read ahead.
_ahead = threading.local()


class Question(NamedTuple):
    """A prepared query with its values; ``key`` is the same for the same question."""

    key: Hashable
    statement: Statement
    converters: _Converters


class _Slot(Expression):
    """Where a value goes. ``number`` of the argument, ``at`` its place when that is a list."""

    def __init__(self, number: int, at: int | None, field: "models.Field[Any, Any]") -> None:
        super().__init__(output_field=field)
        self.number = number
        self.at = at

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        return "%s", [self]

    def value_in(self, arguments: Sequence[Any], connection: BaseDatabaseWrapper) -> Any:
        given = arguments[self.number]
        value = given if self.at is None else given[self.at]
        return self.output_field.get_db_prep_value(value, connection, prepared=False)


class Prepared:
    """A query of plain values. ``build`` is given a slot for each of ``fields`` and answers a QuerySet with
    ``values_list``; a field in a list stands for a list of values, for use with ``__in``.

    Called with the values, answers the rows as tuples. An empty list answers no rows and asks nothing.
    """

    def __init__(
        self,
        build: Callable[..., "models.QuerySet[Any, Any]"],
        *fields: "models.Field[Any, Any] | list[models.Field[Any, Any]]",
    ) -> None:
        self._build = build
        self._fields = fields
        # By the kind of database and the lengths of the lists.
        self._texts: dict[tuple[str, tuple[int, ...]], _Text] = {}

    def __call__(self, *values: Any) -> list[tuple[Any, ...]]:
        answer = _read_ahead().pop(self._key(values), None)
        if answer is None:
            question = self.of(*values)
            if question is None:
                return []
            (rows,), converters = ask([question.statement]), question.converters
        else:
            rows, converters = answer
        if not converters:
            return rows
        own = connections[DEFAULT_DB_ALIAS]
        found = [list(row) for row in rows]
        for at, turns, column in converters:
            for row in found:
                for turn in turns:
                    row[at] = turn(row[at], column, own)
        return [tuple(row) for row in found]

    def of(self, *values: Any) -> Question | None:
        """What a call with these values asks, for :func:`read_ahead`; None where it would ask nothing."""
        arguments = [
            _filled(value) if isinstance(field, list) else value
            for value, field in zip(values, self._fields, strict=True)
        ]
        lengths = tuple(
            len(value) if isinstance(field, list) else -1
            for value, field in zip(arguments, self._fields, strict=True)
        )
        if 0 in lengths:
            return None
        connection = connections[DEFAULT_DB_ALIAS]
        sql, params, converters = self._text(lengths, connection)
        filled = [one.value_in(arguments, connection) if isinstance(one, _Slot) else one for one in params]
        return Question(self._key(values), Statement(sql, filled), converters)

    def _key(self, values: Sequence[Any]) -> Hashable:
        return id(self), *(
            frozenset(value) if isinstance(field, list) else value
            for value, field in zip(values, self._fields, strict=True)
        )

    def _text(self, lengths: tuple[int, ...], connection: BaseDatabaseWrapper) -> _Text:
        key = (connection.vendor, lengths)
        if key not in self._texts:
            slots = [
                [_Slot(number, at, field[0]) for at in range(length)]
                if isinstance(field, list)
                else _Slot(number, None, field)
                for number, (field, length) in enumerate(zip(self._fields, lengths, strict=True))
            ]
            compiler: Any = self._build(*slots).query.get_compiler(connection=connection)
            sql, params = compiler.as_sql()
            columns = [column for column, _, _ in compiler.select[: compiler.col_count]]
            turns = compiler.get_converters(columns)
            converters = [(at, some, column) for at, (some, column) in turns.items()]
            self._texts[key] = (sql, params, converters)
        return self._texts[key]


class Instances(Generic[Row]):
    """The same for rows as instances of ``model``; ``beside`` is a relation that comes along, ``more`` are
    annotations that :meth:`with_more` answers after each instance."""

    def __init__(
        self,
        build: "Callable[..., models.QuerySet[Row, Any]]",
        *fields: "models.Field[Any, Any] | list[models.Field[Any, Any]]",
        model: type[Row],
        beside: str = "",
        more: tuple[str, ...] = (),
    ) -> None:
        names = [field.attname for field in model._meta.concrete_fields]
        other: Any = model._meta.get_field(beside).related_model if beside else None
        of_other = [field.attname for field in other._meta.concrete_fields] if other else []
        columns = [*names, *(f"{beside}__{name}" for name in of_other), *more]
        self._rows = Prepared(lambda *slots: build(*slots).values_list(*columns), *fields)
        self._model, self._names = model, names
        self._beside, self._other, self._of_other = beside, other, of_other

    def of(self, *values: Any) -> Question | None:
        """As :meth:`Prepared.of`."""
        return self._rows.of(*values)

    def __call__(self, *values: Any) -> list[Row]:
        return [row[0] for row in self.with_more(*values)]

    def with_more(self, *values: Any) -> list[Any]:
        """Tuples: the instance, then its annotations."""
        ours, theirs = len(self._names), len(self._names) + len(self._of_other)
        found = []
        for row in self._rows(*values):
            instance = self._model.from_db(DEFAULT_DB_ALIAS, self._names, row[:ours])
            if self._other is not None:
                setattr(
                    instance,
                    self._beside,
                    self._other.from_db(DEFAULT_DB_ALIAS, self._of_other, row[ours:theirs]),
                )
            found.append((instance, *row[theirs:]))
        return found


@contextmanager
def read_ahead(*questions: Question | None) -> Iterator[None]:
    """Asks all of them in one trip; who asks one of them inside gets that answer, once.

    So the code stays as it reads, and a question that was not foreseen is asked as ever. What is foreseen
    must not be changed inside before it is asked. On SQLite, where none travels, nothing is read ahead.
    """
    asked = [question for question in questions if question is not None]
    if connection.vendor != "postgresql" or not asked:
        yield
        return
    answers = ask([question.statement for question in asked])
    known = _read_ahead()
    known.update((one.key, (rows, one.converters)) for one, rows in zip(asked, answers, strict=True))
    try:
        yield
    finally:
        for one in asked:
            known.pop(one.key, None)


def _read_ahead() -> dict[Hashable, tuple[list[tuple[Any, ...]], _Converters]]:
    """What this thread has read ahead and not asked yet."""
    if not hasattr(_ahead, "answers"):
        _ahead.answers = {}
    answers: dict[Hashable, tuple[list[tuple[Any, ...]], _Converters]] = _ahead.answers
    return answers


def _filled(values: Collection[Any]) -> list[Any]:
    """The values, the last of them again until the list has one of the usual lengths."""
    listed = list(values)
    length = next((one for one in _LENGTHS if one >= len(listed)), len(listed)) if listed else 0
    return listed + listed[-1:] * (length - len(listed))
