"""``online info``, ``online clear`` and ``online check``: GBIF's answers, asked apart from all pages."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError, CommandParser

from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows
from inventory.names.actions.online import Checked, check_online, clear
from inventory.names.online.client import SWITCHED_OFF, Gbif
from inventory.names.online.manners import Manners, SettingError, manners
from inventory.names.queries.online import INFO_COLUMNS, due, info_rows, service_name

COLUMNS = ("typed", "state", "verdict", "name", "origin", "why")
_EVERYTHING = 1_000_000


class Command(HouseCommand):
    help = "Asks GBIF about names of the review queue, in the background, and keeps its answers for a while."

    def add_arguments(self, parser: CommandParser) -> None:
        actions: Any = parser.add_subparsers(dest="action", required=True, parser_class=ArgumentParser)
        info = actions.add_parser("info", help="what is kept, how the service is asked, how many names wait")
        add_format_option(info)
        remove = actions.add_parser("clear", help="remove kept answers")
        remove.add_argument("--expired", action="store_true", help="only those that have expired")
        check = actions.add_parser("check", help="ask about names of the queue without a fresh answer")
        check.add_argument("--limit", type=int, default=100, metavar="N", help="names at most (100)")
        check.add_argument("--watch", type=float, metavar="SECONDS", help="check again and again")
        add_format_option(check)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            how = manners()
        except SettingError as error:
            raise CommandError(str(error), returncode=2) from error
        if options["action"] == "info":
            self._info(how, options["format"])
        elif options["action"] == "clear":
            n = clear(now=now(), expired_only=options["expired"])
            self.stderr.write(f"{n} kept answer{'' if n == 1 else 's'} removed.")
        else:
            self._check(how, options)

    def _info(self, how: Manners, form: str) -> None:
        moment = now()
        write_rows(info_rows(now=moment), INFO_COLUMNS, form, self.stdout, title="Kept answers")
        waiting = len(due(now=moment, limit=_EVERYTHING))
        self.stderr.write(
            f"Asking is {'on' if how.is_on else 'off'}. {service_name(how.checklist)}: {how.between:g} s "
            f"between requests, {how.tries} tries, {how.timeout:g} s of patience, answers fresh for "
            f"{how.cache_days:g} days. Names to ask about: {waiting}."
        )

    def _check(self, how: Manners, options: dict[str, Any]) -> None:
        limit, watch = options["limit"], options["watch"]
        if limit < 1 or (watch is not None and watch < how.between):
            raise CommandError(
                f"Expected --limit of 1 or more, and --watch of {how.between:g} seconds or more.",
                returncode=2,
            )
        if not how.is_on:
            self.stderr.write(f"{SWITCHED_OFF} Nothing was asked.")
            return
        # One client for all rounds, so that the distance between requests is kept across them.
        service = Gbif(how, clock=now, sleep=time.sleep)
        try:
            while True:
                stopped = self._round(service, how, limit, options["format"])
                if watch is None:
                    break
                if stopped:
                    self.stderr.write(stopped)
                time.sleep(watch)
        except KeyboardInterrupt:
            self.stderr.write("Ended. What was answered is kept.")
            return
        if stopped:
            raise CommandError(stopped)

    def _round(self, service: Gbif, how: Manners, limit: int, form: str) -> str:
        run = check_online(
            lambda line: service.ask(line.question), clock=now, limit=limit, cache_days=how.cache_days
        )
        if run.checked or not run.stopped:
            write_rows([_row(one) for one in run.checked], COLUMNS, form, self.stdout)
        n = len(run.checked)
        self.stderr.write(f"{n} name{'' if n == 1 else 's'} asked about.")
        return run.stopped


def _row(one: Checked) -> dict[str, Any]:
    verdict = one.answer.verdict
    is_new = one.answer.state == "answered" and verdict is not None
    return {
        "typed": one.check.typed,
        "state": one.answer.state.value,
        "verdict": verdict.verdict.value if verdict else "",
        "name": verdict.name if verdict else "",
        "origin": one.answer.origin.value if verdict else "",
        "why": verdict.why if is_new and verdict else one.answer.sentence,
    }
