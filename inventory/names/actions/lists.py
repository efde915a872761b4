"""Takes lists from their files into use: all of a folder, or nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import transaction

from ..models import ListEntry, NameList
from ..readers.lists import HEAD, ListFile, ListProblem, read_lists

_BATCH = 2000


class ListsRefused(Exception):
    """Something is wrong in a file, so none was loaded."""

    def __init__(self, problems: Sequence[ListProblem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = list(problems)


@dataclass(frozen=True, slots=True)
class LoadedList:
    """What became of one file: ``state`` is new, changed (a new version) or already there."""

    code: str
    name: str
    kind: str
    version: int
    entries: int
    state: str


def load_lists(path: Path, *, now: datetime) -> list[LoadedList]:
    """Loads each csv of a folder, or one csv, as the version in use of its list.

    A file that is as it was changes nothing. A list whose file is gone stays in use: leave the file
    there with its head and no rows to take it out of use. Raises :class:`ListsRefused` and ``OSError``.
    """
    files = read_lists(path)
    problems = [problem for file in files for problem in file.problems]
    if not files:
        problems = [ListProblem(str(path), 0, "", "no .csv file is in this folder")]
    if problems:
        raise ListsRefused(problems)
    with transaction.atomic():
        current = {
            one.code: one
            for one in NameList.objects.select_for_update().filter(
                is_current=True, code__in=[file.code for file in files]
            )
        }
        return [_take(file, current.get(file.code), now) for file in files]


def _take(file: ListFile, current: NameList | None, now: datetime) -> LoadedList:
    if current and current.fingerprint == file.fingerprint:
        return _loaded(file, current, "already there")
    if current:
        NameList.objects.filter(pk=current.pk).update(is_current=False)
    fields = {key: file.head[key] for key in HEAD[2:5]}
    version = NameList.objects.create(
        code=file.code,
        version=current.version + 1 if current else 1,
        name=file.head["list"],
        kind=file.head["kind"].casefold(),
        mark=file.head["mark"].casefold(),
        loaded_at=now,
        fingerprint=file.fingerprint,
        **fields,
    )
    ListEntry.objects.bulk_create(
        (
            ListEntry(
                of_list=version,
                row=entry.row,
                name=entry.name,
                first_word=entry.name.partition(" ")[0],
                **entry.cells,
            )
            for entry in file.entries
        ),
        batch_size=_BATCH,
    )
    return _loaded(file, version, "changed" if current else "new")


def _loaded(file: ListFile, version: NameList, state: str) -> LoadedList:
    return LoadedList(file.code, version.name, version.kind, version.version, len(file.entries), state)
