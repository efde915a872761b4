"""Text and numbers as the interface takes them, for all its parts."""

from typing import Annotated

from pydantic import AfterValidator, Field

MOST_ANIMALS = 999_999
# RFC 8259, section 6: whole numbers up to here mean the same to everybody who reads JSON. No database is
# asked for a larger one, which SQLite cannot even compare.
LARGEST_NUMBER = 2**53 - 1


def _storable(text: str) -> str:
    if "\x00" in text:
        raise ValueError("a null character cannot be kept; take it out")
    return text.strip()


Text = Annotated[str, AfterValidator(_storable)]
RowNumber = Annotated[int, Field(ge=0, le=LARGEST_NUMBER)]
