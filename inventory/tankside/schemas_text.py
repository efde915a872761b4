"""Text and numbers as the interface takes them, for all its parts."""

from typing import Annotated

from pydantic import AfterValidator

MOST_ANIMALS = 999_999


def _storable(text: str) -> str:
    if "\x00" in text:
        raise ValueError("a null character cannot be kept; take it out")
    return text.strip()


Text = Annotated[str, AfterValidator(_storable)]
