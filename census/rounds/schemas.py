"""What the programming interface of the census takes and gives: each field with its meaning. Parsing only."""

from typing import Annotated, Any, Literal
from uuid import UUID

from ninja import Schema
from pydantic import ConfigDict, Field, WrapValidator

from inventory.tankside.schemas import or_unreadable
from inventory.tankside.schemas_text import MOST_ANIMALS, Moment, RowNumber, Text

from .rules.passes import MOST
from .rules.words import Seen

MOST_ENTRIES = 200
MOST_LINES = 500
Number = Annotated[int, Field(ge=0, le=MOST_ANIMALS)]
Letter = Literal["", "S", "A", "C", "F", "O", "R"]


class WhoIn(Schema):
    """Whose sheets are wanted, and the proof that this person holds the device."""

    model_config = ConfigDict(populate_by_name=True, extra="forbid")

    person: RowNumber = Field(description="Number from the list of persons.")
    signed: Text = Field(alias="pass", max_length=600, description="What persons/check gave for this person.")


class IndividualOut(Schema):
    """One animal of a roll-call."""

    accession: str = Field(description="Accession number.")
    words: str = Field(description="House name and marks.")


class LineOut(Schema):
    """One line to count. No number of the book and no count is in it."""

    line: int = Field(description="Number of the line.")
    place: str = Field(description="Code of the tank; joined tanks stand on one sheet.")
    name: str = Field(description="Scientific name.")
    common_name: str = Field(description="Common name, or empty.")
    letters: str = Field(description="Plain letters in place of a picture.")
    picture_url: str | None = Field(description="A picture, if there is one.")
    unit: str = Field(description="What is counted: animal, colony, egg case.")
    count_class: str = Field(description="A, B, C or D.")
    asks: Literal["number", "letter", "roll-call"] = Field(description="What is to be written.")
    marks: str = Field(description="Marks of the animals.")
    joined: bool = Field(description="Counted with other tanks in one session.")
    sexed: bool = Field(description="The sexes are asked for.")
    counted: bool = Field(description="You have sent a count of this line; another replaces it.")
    individuals: list[IndividualOut] = Field(description="Animals of the roll-call.")


class CountSheetOut(Schema):
    """A sheet with the lines to count in one round."""

    number: str = Field(description="Number of the sheet.")
    census: str = Field(description="Code of the census.")
    place: str = Field(description="Code of the tank.")
    place_name: str = Field(description="Its name.")
    round: int = Field(description="1, or 2 and 3 when it is counted again, with those lines only.")
    list_version: str = Field(description="Version of the list.")
    counters: list[str] = Field(description="Who counts on this sheet.")
    hints: list[str] = Field(description="What this sheet reminds of, in sentences.")
    lines: list[LineOut] = Field(description="The lines.")


class LetterOut(Schema):
    """A letter of abundance."""

    letter: str = Field(description="The letter.")
    words: str = Field(description="What it stands for.")


class CountSheetsOut(Schema):
    """The sheets of one person."""

    sheets: list[CountSheetOut] = Field(description="Issued to this person and not handed in.")
    letters: list[LetterOut] = Field(description="Letters for lines that ask for one, most to least.")
    passes_wanted: int = Field(description="Passes below which a count of many is of lower quality.")


class SexesIn(Schema):
    """How many of each sex; they add up to the count."""

    males: Number = Field(0, description="Males.")
    females: Number = Field(0, description="Females.")
    hermaphrodites: Number = Field(0, description="Hermaphrodites.")
    unknown: Number = Field(0, description="Not known.")


class WrittenIn(Schema):
    """What was counted on one line, and when. A line that was not counted is left out; zero is a count."""

    model_config = ConfigDict(extra="forbid")

    counted_at: Moment = Field(description="The count moment, by the device's clock, with its offset.")
    value: Number | None = Field(None, description="The number; 0 is a count of zero.")
    at_least: bool = Field(False, description="A minimum: animals that bury or hide.")
    passes: list[Number] = Field(
        default=[],
        max_length=MOST,
        description="Each pass or picture; the count is their middle, and a value beside them says the same.",
    )
    letter: Letter = Field("", description="Lines that ask for one: S A C F O R.")
    sexes: SexesIn | None = Field(None, description="Where they are asked for.")
    remark: Text = Field("", max_length=300, description="What else there is to say.")


class LineIn(WrittenIn):
    """A line of the list."""

    line: int = Field(ge=1, le=32_000, description="Number of the line.")
    seen: dict[Text, Seen] = Field(
        default={},
        max_length=MOST_LINES,
        description="The roll-call: accession number to seen, not seen or not looked for.",
    )


class WriteInIn(WrittenIn):
    """An animal that is not on the list."""

    name: Text = Field(min_length=1, max_length=200, description="In the counter's words.")
    unit: Text = Field("animal", max_length=40, description="What is counted.")


class CountEntryIn(Schema):
    """What one person counted on one sheet in one round."""

    model_config = ConfigDict(populate_by_name=True, extra="forbid")

    identifier: UUID = Field(description="Made by the device. The same again is the same count.")
    person: RowNumber = Field(description="Number of who counted.")
    signed: Text | None = Field(
        None, alias="pass", max_length=600, description="What persons/check gave; without it, flagged."
    )
    saved_at: Moment = Field(description="When it was saved, by the device's clock.")
    sheet: Text = Field(max_length=30, description="Number of the sheet.")
    round: int = Field(1, ge=1, le=3, description="The round that the sheet was for.")
    hand_in: bool = Field(False, description="Hand the sheet in; lines that were left out are not counted.")
    lines: list[LineIn] = Field(default=[], max_length=MOST_LINES, description="Lines of the list.")
    written_in: list[WriteInIn] = Field(
        default=[], max_length=50, description="Animals that are not on the list."
    )
    replaces: UUID | None = Field(
        None, description="Identifier of an entry that came back, of which this is the corrected one."
    )


class CountEntriesIn(Schema):
    """What a device sends: counts in the order in which they were saved."""

    sent_at: Moment = Field(description="The device's clock as it sends.")
    entries: list[Annotated[CountEntryIn, WrapValidator(or_unreadable)]] = Field(
        min_length=1, max_length=MOST_ENTRIES, description="1 to 200 entries, the oldest first."
    )


def body_of(entry: CountEntryIn) -> dict[str, Any]:
    """What was sent, without the proof of who held the device."""
    return entry.model_dump(mode="json", exclude={"signed"}, exclude_defaults=True)
