"""``population``: one question about populations, printed; ``expected --keep`` writes the ranges down."""

from typing import Any, cast

from django.core.management.base import CommandError
from django.utils.timezone import get_current_timezone, localdate

from census.population.actions.expect import keep_expectations
from census.population.forms import AskedForm
from census.population.rules.asked import Asked
from census.population.rules.spans import next_quarter, quarter_of
from census.population.writers.methods import METHODS
from census.population.writers.setting import Setting
from inventory.book.management.arguments import a_day, a_moment
from inventory.book.models import Period
from inventory.book.rules.scope import Scope
from inventory.db.moment import one_moment
from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.doors.output import Out, add_format_option, write_rows


class Command(HouseCommand):
    help = "Answers a question about populations: " + "; ".join(
        f"{m.name}, {m.about}" for m in METHODS.values()
    )

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("method", choices=list(METHODS))
        parser.add_argument("--taxon", default="", metavar="NAME", help="a taxon or a family")
        parser.add_argument("--place", default="", metavar="CODE")
        parser.add_argument("--against", default="", metavar="CODE", help="rates: the tank to compare with")
        parser.add_argument("--period", default="", metavar="CODE", help="of the house, as 2026 Q3")
        parser.add_argument("--from", dest="first_day", type=a_day, metavar="DATE")
        parser.add_argument("--to", dest="last_day", type=a_day, metavar="DATE")
        parser.add_argument("--known-at", type=a_moment, metavar="TIMESTAMP")
        parser.add_argument("--scope", choices=[scope.value for scope in Scope], default=Scope.HERE.value)
        parser.add_argument("--unit", default="animal")
        parser.add_argument("--part", type=int, default=1, help="which table, for csv and json")
        parser.add_argument(
            "--keep", action="store_true", help="expected: write the ranges down, to be scored later"
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        method, asked = METHODS[options["method"]], self._asked(options)
        zone = get_current_timezone()
        if options["keep"]:
            self._keep(method.name, asked)
        with one_moment():
            answer = method.answer(asked, Setting(zone, compares=True))
        out = cast(Out, self.stdout)
        tables = [one.table for one in answer.sections if one.table is not None]
        if options["format"] == "table":
            for one in answer.sections:
                out.write(f"{one.title}\n{one.words}\n")
                if one.table is not None:
                    lines = [
                        {key: cell.shown for (key, _), cell in zip(one.table.columns, row, strict=True)}
                        for row in one.table.rows
                    ]
                    write_rows(lines, [key for key, _ in one.table.columns], "table", out)
                for note in one.notes:
                    out.write(f"{note}\n")
            return
        if not 1 <= options["part"] <= len(tables):
            why = f"there are {len(tables)} tables; give --part 1 to {len(tables)}"
            raise CommandError(why if tables else answer.sections[0].words, returncode=2 if tables else 1)
        table = tables[options["part"] - 1]
        write_rows(table.records(), [key for key, _ in table.columns], options["format"], out)

    def _keep(self, method: str, asked: Asked) -> None:
        if method != "expected":
            raise CommandError("--keep goes with expected: it writes down what is expected", returncode=2)
        quarter = next_quarter(quarter_of(asked.last_day))
        kept = keep_expectations(
            first_day=quarter.first, now=now(), zone=get_current_timezone(), known_at=asked.known_at
        )
        self.stderr.write(f"{len(kept)} ranges for {quarter.name} are written down.")

    def _asked(self, options: dict[str, Any]) -> Asked:
        given = {
            key: options[key]
            for key in ("taxon", "place", "against", "known_at", "scope", "unit", "first_day", "last_day")
            if options[key]
        }
        if options["period"]:
            period = Period.objects.filter(code=options["period"]).first()
            if period is None:
                codes = ", ".join(Period.objects.values_list("code", flat=True)) or "none"
                raise CommandError(f"No period “{options['period']}”; there are: {codes}", returncode=2)
            given.update(first_day=period.starts_on, last_day=period.ends_on)
        form = AskedForm(given, today=localdate(now()), more=("against",))
        if not form.is_valid():
            told = "; ".join(str(one) for errors in form.errors.values() for one in errors)
            raise CommandError(told, returncode=2)
        asked: Asked = form.cleaned_data["asked"]
        return asked
