"""``manage.py verify``: recomputes every balance, snapshot and hash, and checks every rule."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from inventory.book.queries.heads import against, head_of_chain
from inventory.book.queries.verification import Finding, verify
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows


class Command(HouseCommand):
    help = "Recomputes every balance, snapshot and hash of the ledger; exit 1 and a list when one fails."

    def add_arguments(self, parser: CommandParser) -> None:
        add_format_option(parser)
        parser.add_argument(
            "--against",
            metavar="HEAD",
            help="a head of the chain that was printed or sent away earlier (NUMBER:HASH): "
            "whether anything up to it was altered since",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        verified = verify(timezone.get_current_timezone())
        if options["against"]:
            verified.findings += self._against(options["against"])
        findings = [
            {"check": finding.check, "where": finding.where, "problem": finding.problem}
            for finding in verified.findings
        ]
        if findings or options["format"] != "table":
            write_rows(findings, ("check", "where", "problem"), options["format"], self.stdout)
        self.stderr.write(
            f"{verified.events} events and {verified.flows} flows read, head of the chain {head_of_chain()}: "
            + (f"{len(findings)} findings" if findings else "everything holds")
        )
        if findings:
            raise SystemExit(1)

    @staticmethod
    def _against(head: str) -> list[Finding]:
        try:
            problem = against(head)
        except ValueError as error:
            raise CommandError(str(error), returncode=2) from error
        return [Finding("head", head, problem)] if problem else []
