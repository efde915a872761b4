"""What the programming interface takes and gives: each field with its meaning. Parsing only."""

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from ninja import Schema
from pydantic import ConfigDict, Field, ValidationError, WrapValidator
from pydantic_core.core_schema import ValidatorFunctionWrapHandler

from inventory.doors.storable import storable

from .rules.kinds import EntryKind
from .schemas_slip import SlipIn
from .schemas_text import MOST_ANIMALS, Moment, RowNumber, Text

MOST_ENTRIES = 200


def _text(most: int, words: str, **more: Any) -> Any:
    return Field("", max_length=most, description=words, **more)


class NumbersIn(Schema):
    """Animals by sex, four whole numbers."""

    males: int = Field(0, ge=0, le=MOST_ANIMALS, description="Males.")
    females: int = Field(0, ge=0, le=MOST_ANIMALS, description="Females.")
    hermaphrodites: int = Field(0, ge=0, le=MOST_ANIMALS, description="Hermaphrodites.")
    unknown: int = Field(0, ge=0, le=MOST_ANIMALS, description="Animals whose sex is not stated.")


class BodyIn(Schema):
    """What became of the body."""

    kept: Literal["freezer", "fixed", "museum", "vet", "discarded", "not found"] = Field(
        description="Where it is, or that it was thrown away or not found."
    )
    bag: Text | None = Field(
        None, max_length=40, description="Number of the freezer bag; one bag, one death."
    )
    part: Literal["whole", "part", "remains"] = Field("whole", description="How much of it there is.")


class ReadingIn(Schema):
    """One measurement of a tank's water."""

    quantity: Text = Field(
        max_length=20, description="temperature, salinity, oxygen, pH and what the log knows."
    )
    value: Text | float | int = Field(
        description="The number in its unit; as text it keeps the digits as they were read."
    )
    unit: Text = Field(max_length=20, description="Unit in which it was read, such as °C or PSU.")


Sex = Literal["", "male", "female", "hermaphrodite", "unknown"]


class EntryIn(Schema):
    """One thing that was seen or done at a tank."""

    model_config = ConfigDict(populate_by_name=True, extra="forbid")

    identifier: UUID = Field(
        description="Made by the device. The same again is the same entry, and gets the first answer."
    )
    kind: EntryKind = Field(description="What happened. A reading is all that a sensor may send.")
    person: RowNumber | None = Field(
        None, description="Number of who entered it, from the list of persons; only a sensor leaves it out."
    )
    signed: Text | None = Field(
        None,
        alias="pass",
        max_length=600,
        description="What persons/check gave for this person on this device; without one that holds the "
        "entry is taken and flagged.",
    )
    saved_at: Moment = Field(description="When it was saved, by the device's clock, with its offset.")
    happened: Text | None = Field(
        None,
        max_length=60,
        description="When it happened, in the house's own time: a day, a minute, or START/END (ISO 8601). "
        "Left out: the minute in which it was saved.",
    )
    place: Text = Field(
        "",
        max_length=20,
        description="Code of the tank; only a slip may leave it out, where it is the tank of what was kept.",
    )
    lot: Text | None = Field(None, max_length=40, description="Accession number, from the list of lots.")
    open_name: Text | None = Field(
        None,
        max_length=140,
        description="In place of a lot, where the species is open: a key from the list of open names.",
    )
    numbers: NumbersIn | None = Field(None, description="How many; what is left out is zero.")
    at_least: int | None = Field(
        None,
        ge=0,
        le=MOST_ANIMALS,
        description="born, hatched, eggs: the least that “numbers” can have been in all, where nobody could "
        "count exactly; “numbers” is the best value.",
    )
    at_most: int | None = Field(
        None, ge=0, le=MOST_ANIMALS, description="The same: the most. Both inclusive; either may be left out."
    )
    to_place: Text | None = Field(None, max_length=20, description="moved: code of the tank they went to.")
    to_lot: Text | None = Field(
        None, max_length=40, description="hatched out of a lot of egg cases: the lot of the young."
    )
    stage: Text | None = Field(
        None,
        max_length=20,
        description="Life stage. For eggs: egg case or egg mass, where the lot is one of animals.",
    )
    to_stage: Text | None = Field(None, max_length=20, description="staged: the stage they have reached.")
    from_sex: Sex | None = Field(None, description="sexed: what they were booked as, if not unknown.")
    to_sex: Sex | None = Field(None, description="sexed: what they are.")
    cause: Text | None = Field(
        None, max_length=120, description="died, put_down: the cause; left out, it is “not known”."
    )
    suspicion: Text | None = Field(
        None, max_length=100, description="What is suspected and not known: eaten, jumped, overflow, taken."
    )
    last_seen: Text | None = Field(
        None, max_length=20, description="missing: day or minute when it was seen for certain."
    )
    body: BodyIn | None = Field(None, description="died, put_down: what became of the body.")
    note: Text | None = Field(None, max_length=2_000, description="What else there is to say.")
    more_than_book: bool = Field(
        False, description="moved: “I count more than the book”; without it such a move comes back."
    )
    unlisted: bool = Field(
        False, description="note: of an animal that is on no list; the registrar is asked what it was."
    )
    letter: Text | None = Field(
        None,
        max_length=40,
        description="unlisted, in place of a number: the mark or letter of the one animal that is meant.",
    )
    abundance: Literal["S", "A", "C", "F", "O", "R"] | None = Field(
        None,
        description="unlisted, in place of a number, where nobody counts: superabundant, abundant, common, "
        "frequent, occasional or rare (SACFOR).",
    )
    dead_on_arrival: int = Field(
        0,
        ge=0,
        le=MOST_ANIMALS,
        description="arrived: dead on arrival, besides those of “numbers”, which may then be none. They "
        "never enter the stock; the registrar is asked to count them with the take or the delivery.",
    )
    reading: ReadingIn | None = Field(None, description="reading: what was measured.")
    slip: SlipIn | None = Field(None, description="slip: a field slip of a collecting trip.")
    undoes: UUID | None = Field(None, description="undo: identifier of the entry that is taken back.")
    replaces: UUID | None = Field(
        None, description="Identifier of an entry that came back, of which this is the corrected one."
    )


class Unreadable:
    """An entry whose fields could not be read: as it came, and why in words that can be kept."""

    def __init__(self, raw: Any, error: ValidationError) -> None:
        self.raw = raw
        self.problems = [
            (storable(".".join(str(part) for part in one["loc"])), storable(str(one["msg"])))
            for one in error.errors()
        ]


def or_unreadable(value: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    """One entry that cannot be read comes back alone; the others are taken."""
    try:
        return handler(value)
    except ValidationError as error:
        return Unreadable(value, error)


class EntriesIn(Schema):
    """What a device sends: entries in the order in which they were made."""

    sent_at: Moment = Field(
        description="The device's clock as it sends; more than five minutes from ours is flagged."
    )
    entries: list[Annotated[EntryIn, WrapValidator(or_unreadable)]] = Field(
        min_length=1, max_length=MOST_ENTRIES, description="1 to 200 entries, the oldest first."
    )


class FlagOut(Schema):
    """Something about a taken entry that somebody will look into."""

    kind: str = Field(description="double, clock, author, open_name, body or more_than_book.")
    words: str = Field(description="The same for people.")


class ProblemOut(Schema):
    """Why an entry came back."""

    field: str = Field(description="Which field; empty for the whole entry.")
    words: str = Field(description="What was wrong, and what to do.")


class AnswerOut(Schema):
    """What became of one entry."""

    identifier: str = Field(description="The entry's.")
    outcome: Literal["sent", "came back"] = Field(
        description="sent: it is kept. came back: it is not; its author corrects it under a new identifier."
    )
    already: bool = Field(description="It came before; this is the answer that was given then.")
    event: int | None = Field(None, description="Number of the event in the book.")
    words: str = Field(description="The confirmation: 2 dead, two-spotted goby, Kelp Hall, 08:10.")
    flags: list[FlagOut] = Field(description="What somebody will look into.")
    problems: list[ProblemOut] = Field(description="Why it came back.")
    undo_until: datetime | None = Field(None, description="Until when its author may undo it.")
    alarm: str | None = Field(None, description="The alarm that it raised, in words.")


class EntriesOut(Schema):
    """The answers, in the order of the entries."""

    server_time: datetime = Field(description="The server's clock.")
    answers: list[AnswerOut] = Field(description="One for each entry, in order.")


class PictureAnswerOut(Schema):
    """What became of one picture."""

    identifier: UUID = Field(description="The picture's.")
    outcome: Literal["sent", "came back"] = Field(
        description="sent: it is kept. came back: it is not, and is not sent again; its entry stands."
    )
    already: bool = Field(description="It came before.")
    words: str = Field(description="The same for people: why it came back, and what to do.")


class EnrolIn(Schema):
    """The words that the registrar's page shows."""

    code: str = Field(max_length=200, description="The one-time code, as words.")


class DeviceOut(Schema):
    """A device of the house."""

    id: int = Field(description="Its number.")
    name: str = Field(description="What the house calls it.")


class EnrolledOut(Schema):
    """A device that is in, with its token."""

    device: DeviceOut = Field(description="The device.")
    token: str = Field(description="Sent with every request as Authorization: Bearer. Shown only this once.")


class CheckIn(Schema):
    """Who holds the device now."""

    person: RowNumber = Field(description="Number from the list of persons.")
    code: str = Field(max_length=20, description="The person's four digits.")


class PersonOut(Schema):
    """Somebody who may enter at the tank side."""

    id: int = Field(description="Number.")
    name: str = Field(description="Name in full.")
    initials: str = Field(description="Initials, for the chooser.")


class ConfirmedOut(Schema):
    """The person is confirmed on this device."""

    model_config = ConfigDict(populate_by_name=True)

    signed: str = Field(
        alias="pass", description="Goes with the person's entries; good for 16 hours, on this device only."
    )
    person: PersonOut = Field(description="Who it is.")


class WrongCodeOut(Schema):
    """The code was not the person's, or is locked."""

    detail: str = Field(description="What to do.")
    tries_left: int = Field(description="Tries before it locks; 0 while it is locked.")
    locked_until: datetime | None = Field(None, description="When it opens again.")


class TroubleOut(Schema):
    """Why the request was not served."""

    detail: str = Field(description="What to do.")
    reason: str = Field(description="unknown, revoked, scope, code, none, too many or unreadable.")


# What any route that asks for a token may answer instead.
ANSWERS: dict[int, Any] = dict.fromkeys((401, 403, 422, 429), TroubleOut)
