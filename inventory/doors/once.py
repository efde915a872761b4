"""Answers that several rooms need for one page, asked once.

A page that puts rooms together, as Today does, has each of them ask the same: what is hidden from the person,
the numbers in use, the permits as they stand. Inside :func:`asking_once` a function that is marked with
:func:`once` keeps its answer to the same arguments; outside it is the plain function.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from inspect import signature
from typing import Any, ParamSpec, TypeVar

Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")

_kept: ContextVar[dict[Any, Any] | None] = ContextVar("asked_once", default=None)


@contextmanager
def asking_once() -> Iterator[None]:
    """Keeps answers until its end, for this thread alone; inside of another, until the end of that. Nothing
    may be written inside, for what is kept is what was true when it was first asked; nobody changes an
    answer."""
    token = _kept.set({} if (outer := _kept.get()) is None else outer)
    try:
        yield
    finally:
        _kept.reset(token)


def once(function: Callable[Asked, Answer]) -> Callable[Asked, Answer]:
    """Marks a function whose arguments can be compared, and which only reads."""

    parameters = signature(function)

    @wraps(function)
    def answered(*args: Asked.args, **named: Asked.kwargs) -> Answer:
        kept = _kept.get()
        if kept is None:
            return function(*args, **named)
        # A default that is said is the same question as one that is left out.
        asked = parameters.bind(*args, **named)
        asked.apply_defaults()
        key = (function, asked.args, tuple(sorted(asked.kwargs.items())))
        if key not in kept:
            kept[key] = function(*args, **named)
        answer: Answer = kept[key]
        return answer

    return answered
