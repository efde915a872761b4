"""Values as they are typed, NAME=VALUE, into what a method takes."""

from collections.abc import Callable, Sequence
from enum import StrEnum
from math import isfinite
from typing import Any

from .methods import Kind, Method, Value


class BadValue(ValueError):
    """What was typed is not what the method takes; the message says what was expected."""


def values_of(method: Method, words: Sequence[str]) -> dict[str, Any]:
    """The keywords for ``method.estimate``. Raises BadValue for a word without ``=``, a name that the method
    does not take or that stands twice, a value that cannot be read, and for one that is missing."""
    known = {value.name: value for value in method.values}
    found: dict[str, Any] = {}
    for word in words:
        name, equals, text = word.partition("=")
        if not equals:
            raise BadValue(f"{word!r} is not NAME=VALUE. {_takes(method)}")
        if name not in known:
            raise BadValue(f"{method.name} takes no {name!r}. {_takes(method)}")
        if name in found:
            raise BadValue(f"{name} is given twice.")
        found[name] = _read(known[name], text)
    missing = [value.name for value in method.values if not value.optional and value.name not in found]
    if missing:
        raise BadValue(f"{method.name} needs {', '.join(missing)}. {_takes(method)}")
    return found


def _takes(method: Method) -> str:
    return f"For example: {method.example}"


def _read(value: Value, text: str) -> Any:
    try:
        if value.words is not None:
            return value.words(text)
        return _READERS[value.kind](text)
    except BadValue:
        raise
    except ValueError:
        wanted = one_of(value.words) if value.words else value.kind.value
        raise BadValue(f"{value.name}={text}: expected {wanted} ({value.meaning}).") from None


def one_of(words: type[StrEnum]) -> str:
    """The words that may be typed."""
    return " or ".join(word.value for word in words)


_MOST = 10**12
"""Far above any count, and low enough for every formula."""


def _number(text: str) -> float:
    number = float(text)
    if not isfinite(number):
        raise ValueError(text)
    if abs(number) > _MOST:
        raise BadValue(f"{text} is more than anybody can measure.")
    return number


def _whole(text: str) -> int:
    number = int(text)
    if abs(number) > _MOST:
        raise BadValue(f"{number} is more than anybody can count.")
    return number


def _listed(read: Callable[[str], Any], between: str = ",") -> Callable[[str], tuple[Any, ...]]:
    return lambda text: tuple(read(part) for part in text.split(between))


_READERS: dict[Kind, Callable[[str], Any]] = {
    Kind.WHOLE: _whole,
    Kind.NUMBER: _number,
    Kind.WHOLES: _listed(_whole),
    Kind.NUMBERS: _listed(_number),
    Kind.STRATA: _listed(_listed(_number), "/"),
}
