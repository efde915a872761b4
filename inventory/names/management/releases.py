"""``backbone compare`` and ``backbone adopt``."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError

from inventory.doors.clock import now
from inventory.doors.output import Out, add_format_option, write_rows
from inventory.names.actions.adopt import AdoptionRefused, adopt
from inventory.names.models import BackboneRelease
from inventory.names.queries.compare import COLUMNS, compared
from inventory.names.queries.eras import UnknownRelease, newest_loaded, release_called
from inventory.names.store.sqlite import StoreMissing
from inventory.people.models import Person


def add_release_actions(actions: Any) -> None:
    """Adds the two subcommands."""
    comparing: ArgumentParser = actions.add_parser(
        "compare", help="what a loaded release would change for the names in use; nothing is changed"
    )
    comparing.add_argument(
        "release",
        metavar="RELEASE",
        nargs="?",
        help="number, version or name; default: the one loaded last",
    )
    add_format_option(comparing)  # type: ignore[arg-type]
    adopting: ArgumentParser = actions.add_parser("adopt", help="take a loaded release into use")
    adopting.add_argument("release", metavar="RELEASE", help="number, version or name")
    adopting.add_argument("--by", required=True, metavar="NAME", help="registrar or curator")
    adopting.add_argument(
        "--lot",
        action="append",
        default=[],
        metavar="ACCESSION=NAME",
        help="the name of one lot of a split; may be repeated. Lots not named wait in the review queue",
    )


def do_release_action(options: dict[str, Any], out: Out, err: Out) -> None:
    """Runs the subcommand of ``options``."""
    try:
        if options["action"] == "compare":
            _compare(options, out, err)
        else:
            _adopt(options, err)
    except UnknownRelease as error:
        raise CommandError(str(error), returncode=2) from None
    except (AdoptionRefused, StoreMissing) as error:
        raise CommandError(str(error)) from None


def _compare(options: dict[str, Any], out: Out, err: Out) -> None:
    release = _release(options["release"])
    if release.is_current and not options["release"]:
        err.write(
            f"{release} was loaded last and is in use: no newer one waits. Name another to compare it.\n"
        )
    found = compared(release)
    against = f"{release} against {found.current or 'no release in use'}"
    if options["format"] == "table":
        for consequence, seen in found.groups():
            title = f"{consequence.words} ({len(seen)}): {consequence.does}"
            write_rows([one.as_row() for one in seen], COLUMNS[1:], "table", out, title=title)
    else:
        write_rows(found.rows(), COLUMNS, options["format"], out)
    err.write(f"{against}: {len(found.seen)} changes in {found.n_names} names in use. Nothing was changed.\n")
    if found.n_waiting:
        err.write(f"{found.n_waiting} names wait in the review queue and are asked of the release in use.\n")


def _adopt(options: dict[str, Any], err: Out) -> None:
    release = _release(options["release"])
    by = Person.objects.filter(name=options["by"]).first()
    if by is None:
        raise CommandError(f"“{options['by']}” is nobody in the list of people.", returncode=2)
    done = adopt(release, by=by, now=now(), decisions=_decisions(options["lot"]))
    err.write(
        f"{release} is in use now. {done.followed} names followed, {done.asked} wait for a person in the "
        f"review queue or were decided here, {done.lots_moved} lots moved. No count changed.\n"
    )


def _release(text: str | None) -> BackboneRelease:
    return release_called(text) if text else newest_loaded()


def _decisions(stated: list[str]) -> dict[str, str]:
    decisions = {}
    for text in stated:
        accession, sign, name = text.partition("=")
        if not (accession and sign and name):
            raise CommandError(f"--lot {text}: expected ACCESSION=NAME.", returncode=2)
        decisions[accession.strip()] = name.strip()
    return decisions
