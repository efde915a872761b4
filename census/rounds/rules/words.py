"""The fixed lists of the census: states, kinds of line, verdicts, ways to settle."""

from enum import StrEnum

from inventory.book.rules.abundance import ABUNDANCE


class CensusState(StrEnum):
    PLANNED = "planned"
    ISSUED = "issued"
    COUNTING = "counting"
    COMPARING = "comparing"
    SETTLING = "settling"
    WAITING = "waiting for signature"
    CLOSED = "closed"
    REOPENED = "reopened"
    ABANDONED = "abandoned"


class SheetState(StrEnum):
    NOT_ISSUED = "not issued"
    ISSUED = "issued"
    STARTED = "started"
    HANDED_IN = "handed in"
    RECOUNT_ASKED = "recount asked"
    ACCEPTED = "accepted"
    VOID = "void"
    LOST = "lost"


class SheetForm(StrEnum):
    SHEET = "sheet"
    LETTER = "letter"


class LineKind(StrEnum):
    GROUP = "group"
    INDIVIDUALS = "individuals"
    PRESENCE = "presence"
    WRITE_IN = "write_in"
    LETTER = "letter"

    @property
    def words(self) -> str:
        return {"write_in": "written in", "presence": "presence only"}.get(self.value, self.value)


class LineState(StrEnum):
    NOT_COUNTED = "not counted"
    COUNTED = "counted"
    AGREES = "agrees"
    INSIDE = "inside tolerance"
    OUTSIDE = "outside"
    RECOUNT = "recount"
    CONFIRMED = "confirmed"
    SETTLED = "settled"


class Verdict(StrEnum):
    EXACT = "exact"
    INSIDE = "inside"
    OUTSIDE = "outside"
    NOT_COUNTED = "not counted"
    MINIMUM = "minimum count"


class How(StrEnum):
    """The ways in which a line is settled."""

    COUNT_STANDS = "count_stands"
    LATE_EVENT = "late_event"
    LATE_MOVE = "late_move"
    CHANGE_OF_NAME = "change_of_name"
    REGROUP = "regroup"
    ADJUSTMENT = "adjustment"
    MISSING = "missing"
    OBSERVATION = "observation"
    YOUNG_APART = "young_apart"
    OPEN_QUERY = "open_query"

    @property
    def words(self) -> str:
        return {
            "count_stands": "count stands, book unchanged",
            "observation": "observation only",
            "young_apart": "young, counted in later",
            "missing": "missing: the search goes on",
        }.get(self.value, self.value.replace("_", " "))


class Drawn(StrEnum):
    """What the program draws by lot."""

    RECOUNT = "recount"
    SAMPLE = "sample"
    INSPECTION = "inspection"

    @property
    def words(self) -> str:
        return {
            "recount": "lines that agree, counted again",
            "sample": "sample test before signing",
            "inspection": "sample test by an inspector",
        }[self.value]


class SecondName(StrEnum):
    """Where the procedure asks for a second name."""

    COUNTER = "second counter"
    RECOUNT = "recount"
    TYPIST = "second typing"
    APPROVER = "approval"


class CameBackAs(StrEnum):
    """What is done about counts that a device sent and that could not be taken."""

    TYPED = "typed"
    NOTHING = "nothing"

    @property
    def words(self) -> str:
        return {
            "typed": "its numbers stand on the sheet",
            "nothing": "nothing of it is to be entered",
        }[self.value]


class NoticeKind(StrEnum):
    INTRODUCED = "introduced"
    NOT_SEEN = "not seen"
    RESTATED = "restated"
    AUTHOR = "author"
    RETURN = "return"


class ApprovalRole(StrEnum):
    """Whose answer it is; the values are those of the roles of people."""

    CURATOR = "curator"
    PERMIT_OFFICER = "permit_officer"
    REGISTRAR = "registrar"


class Seen(StrEnum):
    SEEN = "seen"
    NOT_SEEN = "not seen"
    NOT_LOOKED_FOR = "not looked for"


SACFOR = tuple(ABUNDANCE)
SACFOR_WORDS = ABUNDANCE

# Units whose lines are measured for record accuracy; each unit is summed by itself.
MEASURED_UNITS = ("animal", "colony")
MEASURED_KINDS = (LineKind.GROUP, LineKind.INDIVIDUALS)
MEASURED_CLASSES = ("A", "B", "C")
