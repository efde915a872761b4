"""Days and moments on the command line, with errors that say what was expected."""

from argparse import ArgumentTypeError
from datetime import date, datetime

from django.utils.timezone import get_current_timezone

from inventory.book.rules.happened import parse_moment


def a_day(text: str) -> date:
    """A day: ``YYYY-MM-DD``."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is not a day; expected YYYY-MM-DD") from None


def a_moment(text: str) -> datetime:
    """A day or a minute in the house's zone, or with an offset of its own; aware."""
    try:
        return parse_moment(text, get_current_timezone())
    except ValueError as error:
        raise ArgumentTypeError(str(error)) from None
