"""``person export`` and ``person erase``."""

from argparse import ArgumentParser
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from inventory.doors import clock
from inventory.doors.output import Out, write_rows
from inventory.people.actions.erase import ErasureRefused, erase_person
from inventory.people.files.personal_data import as_json, write_workbook
from inventory.people.models import Person
from inventory.people.queries.personal_data import Mention, mentions, personal_data, words_of

MENTION_COLUMNS = ("table", "column", "rows")


def add_arguments(parser: ArgumentParser) -> None:
    """The options of both."""
    parser.add_argument("--out", type=Path, metavar="FILE", help="export: a file .json or .xlsx, else stdout")
    parser.add_argument("--by", default="", metavar="NAME", help="erase: registrar or administrator")
    parser.add_argument("--reason", default="", metavar="TEXT", help="erase: why; it is kept")


def handle(door: str, name: str, options: Mapping[str, Any], out: Out, err: Out) -> None:
    """Runs one of the two."""
    person = _called(name)
    if door == "export":
        _export(person, options["out"], out, err)
    else:
        _erase(person, options, out, err)


def _export(person: Person, to: Path | None, out: Out, err: Out) -> None:
    held, said = personal_data(person), mentions(words_of(person))
    named = [asdict(one) for one in said]
    told = {"person": person.name, "at": clock.now(), "named_in": named}
    if to is None:
        out.write(as_json(held, told))
        return
    if to.suffix.lower() not in (".json", ".xlsx"):
        raise CommandError(f"{to.name}: expected a file whose name ends in .json or .xlsx", returncode=2)
    if to.suffix.lower() == ".xlsx":
        write_workbook({**held, "named in": named} if named else held, to)
    else:
        to.write_text(as_json(held, told), encoding="utf-8")
    err.write(f"{sum(map(len, held.values()))} rows of {len(held)} tables written to {to}\n")


def _erase(person: Person, options: Mapping[str, Any], out: Out, err: Out) -> None:
    now, words = clock.now(), words_of(person)
    try:
        erasure = erase_person(
            person=person,
            by=_called(options["by"]),
            reason=options["reason"],
            now=now,
            today=timezone.localdate(now),
        )
    except ErasureRefused as refused:
        raise CommandError(str(refused)) from None
    err.write(f"In the book they are now called {erasure.person.name}. What they did stays where it is.\n")
    _tell(mentions(words), out, err)
    err.write(
        "Backups made before today hold the name until they are past their days, and files that were "
        "printed, frozen or sent keep it. A workbook that names the person brings the name back when it is "
        "loaded.\n"
    )


def _tell(left: list[Mention], out: Out, err: Out) -> None:
    if not left:
        err.write("The name stands in no other text of the database.\n")
        return
    rows = [asdict(one) for one in left]
    write_rows(rows, MENTION_COLUMNS, "table", out, title="Texts in which the name still stands")
    err.write("They were written by others, or are covered by hashes, and were not changed.\n")


def _called(name: str) -> Person:
    person = Person.objects.select_related("user").filter(name=name).first()
    if person is None:
        raise CommandError(f"nobody here is called {name!r}", returncode=2)
    return person
