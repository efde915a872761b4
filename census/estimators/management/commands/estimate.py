"""``estimate``: a number, its interval and its cautions, from counts that could not see everything."""

from argparse import RawDescriptionHelpFormatter
from math import floor, log10
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser, DjangoHelpFormatter

from census.estimators.rules.estimate import CannotEstimate, Estimate
from census.estimators.rules.methods import METHODS, Method
from census.estimators.rules.written import BadValue, one_of, values_of
from inventory.doors.output import add_format_option, write_rows

_COLUMNS = ("estimate", "low", "high", "se", "method", "warnings")
_DIGITS = 6
_BETWEEN = {"table": "\n", "csv": " "}


class _Help(RawDescriptionHelpFormatter, DjangoHelpFormatter):
    """Django's order of the options, and the list of methods as it is written."""


class Command(BaseCommand):
    help = "Estimates a number of animals, a share or a rate, with its 95 % interval. Reads no database."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.formatter_class = _Help
        parser.epilog = _methods_in_words()
        parser.add_argument("method", choices=list(METHODS), metavar="METHOD", help="one of those below")
        parser.add_argument(
            "values", nargs="*", metavar="NAME=VALUE", help="what the method takes, see below"
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        method = METHODS[options["method"]]
        try:
            estimate = method.estimate(values_of(method, options["values"]))
        except BadValue as error:
            raise CommandError(str(error), returncode=2) from None
        except CannotEstimate as error:
            raise CommandError(f"{method.name}: {error}", returncode=1) from None
        form = options["format"]
        write_rows([_row(estimate, form)], _COLUMNS, form, self.stdout)
        if form == "table":
            for assumption in estimate.assumptions:
                self.stderr.write(f"Assumes: {assumption}")


def _row(estimate: Estimate, form: str) -> dict[str, Any]:
    return {
        "estimate": _rounded(estimate.estimate),
        "low": _rounded(estimate.low),
        "high": _rounded(estimate.high),
        "se": _rounded(estimate.se),
        "method": estimate.method,
        "warnings": list(estimate.warnings) if form == "json" else _BETWEEN[form].join(estimate.warnings),
    }


def _rounded(number: float | None) -> float | int | None:
    """Six digits, and all of those before the point."""
    if number is None:
        return None
    rounded = round(number, max(0, _DIGITS - 1 - floor(log10(number)))) if number > 0 else number
    return int(rounded) if float(rounded).is_integer() else rounded


def _methods_in_words() -> str:
    return "\n".join(["methods and what they take ([ ] may be left out):", *map(_in_words, METHODS.values())])


def _in_words(method: Method) -> str:
    lines = [f"  {method.name}: {method.about}"]
    for value in method.values:
        name = f"[{value.name}=]" if value.optional else f"{value.name}="
        how = one_of(value.words) if value.words else value.kind.value
        lines.append(f"    {name:<18} {value.meaning} ({how})")
    return "\n".join([*lines, f"    for example: {method.example}"])
