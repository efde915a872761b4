"""``saved_reports``: lists the saved reports, or makes those that are due and whatever file waits."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils.timezone import localdate

from census.reports.actions.jobs import work_at_one
from census.reports.actions.saved import ask_due
from census.reports.files.making import file_of
from census.reports.models import ReportJob
from census.reports.queries.made import saved_rows
from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.doors.output import write_rows

COLUMNS = ["name", "report", "animals", "days", "file", "made", "next due", "saved by"]


class Command(HouseCommand):
    help = "Lists the saved reports; with --due makes those that are due, and the files that wait."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--due", action="store_true", help="make what is due; run it once a day")
        parser.add_argument("--format", choices=("table", "csv", "json"), default="table")

    def handle(self, *args: Any, due: bool, **options: Any) -> None:
        if not due:
            rows = (
                dict(
                    zip(
                        COLUMNS,
                        (
                            *(row.report.name, row.layout, row.scope, row.days, row.form, row.every),
                            row.report.next_due_on.isoformat() if row.report.next_due_on else "",
                            row.report.made_by.name,
                        ),
                        strict=True,
                    )
                )
                for row in saved_rows()
            )
            write_rows(rows, COLUMNS, options["format"], self.stdout)
            return
        moment = now()
        jobs, troubles = ask_due(today=localdate(moment), now=moment)
        while work_at_one(now=now, write=file_of):
            pass
        made = ReportJob.objects.filter(pk__in=[job.pk for job in jobs]).select_related("saved")
        troubles += [f"“{job.saved}”: {job.reason}" for job in made if job.state == ReportJob.State.FAILED]
        done = sum(job.state == ReportJob.State.DONE for job in made)
        self.stderr.write(f"{done} of {len(jobs)} due reports made")
        if troubles:
            raise CommandError("; ".join(troubles), returncode=1)
