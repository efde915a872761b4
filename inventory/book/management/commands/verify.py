"""``manage.py verify``: recomputes every balance, snapshot and hash, and checks every rule."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from inventory.book.queries.verification import verify
from inventory.doors.command import HouseCommand
from inventory.doors.output import add_format_option, write_rows


class Command(HouseCommand):
    help = "Recomputes every balance, snapshot and hash of the ledger; exit 1 and a list when one fails."

    def add_arguments(self, parser: CommandParser) -> None:
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        verified = verify(timezone.get_current_timezone())
        findings = [
            {"check": finding.check, "where": finding.where, "problem": finding.problem}
            for finding in verified.findings
        ]
        if findings or options["format"] != "table":
            write_rows(findings, ("check", "where", "problem"), options["format"], self.stdout)
        self.stderr.write(
            f"{verified.events} events and {verified.flows} flows read, head of the chain {verified.head}: "
            + (f"{len(findings)} findings" if findings else "everything holds")
        )
        if findings:
            raise SystemExit(1)
