"""Text and numbers as the interface takes them, for all its parts."""

from datetime import UTC, datetime, timedelta
from typing import Annotated

from pydantic import AfterValidator, AwareDatetime, Field

MOST_ANIMALS = 999_999
# RFC 8259, section 6: whole numbers up to here mean the same to everybody who reads JSON. No database is
# asked for a larger one, which SQLite cannot even compare.
LARGEST_NUMBER = 2**53 - 1
# The widest in use are -12:00 and +14:00 (IANA time zone database); PostgreSQL takes none beyond 15:59:59.
WIDEST_OFFSET = timedelta(hours=14)


def _storable(text: str) -> str:
    if "\x00" in text:
        raise ValueError("a null character cannot be kept; take it out")
    return text.strip()


def _keepable(moment: datetime) -> datetime:
    if abs(moment.utcoffset() or timedelta()) > WIDEST_OFFSET:
        raise ValueError("no clock on earth is so far from UTC; expected an offset of 14 hours at most")
    try:
        moment.astimezone(UTC)
    except OverflowError:
        raise ValueError("the moment lies outside of the calendar") from None
    return moment


Text = Annotated[str, AfterValidator(_storable)]
RowNumber = Annotated[int, Field(ge=0, le=LARGEST_NUMBER)]
Moment = Annotated[AwareDatetime, AfterValidator(_keepable)]
