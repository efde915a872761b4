"""The project's own source files, for the tests that read them."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent
# Laid by others, or made by a command: not written by hand here.
NOT_OURS = {"migrations", "vendor", "__pycache__"}


@cache
def files(*suffixes: str, under: tuple[str, ...] = ("inventory", "census", "tests")) -> tuple[Path, ...]:
    """Files with one of ``suffixes``, in order of their paths."""
    found = (path for folder in under for path in (PROJECT / folder).rglob("*") if path.suffix in suffixes)
    return tuple(sorted(path for path in found if not NOT_OURS.intersection(path.parts)))


def shown(path: Path) -> str:
    """The path as a person writes it, from the project's folder."""
    return path.relative_to(PROJECT).as_posix()


@cache
def tree(path: Path) -> ast.Module:
    """The parsed source of one module."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def calls(path: Path) -> Iterator[tuple[int, list[str]]]:
    """(line, names from the root to the called one) of every dotted call in a module.

    ``Flow.objects.filter(n=1).update(n=2)`` gives ``["Flow", "objects", "filter", "update"]`` and,
    for the call within, ``["Flow", "objects", "filter"]``.
    """
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Call):
            names: list[str] = []
            part: ast.expr = node.func
            while isinstance(part, ast.Attribute | ast.Call | ast.Subscript):
                if isinstance(part, ast.Attribute):
                    names.append(part.attr)
                    part = part.value
                else:
                    part = part.func if isinstance(part, ast.Call) else part.value
            if isinstance(part, ast.Name):
                names.append(part.id)
            yield node.lineno, names[::-1]
