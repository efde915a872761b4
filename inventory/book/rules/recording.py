"""What can be recorded from a lot's page, and what each kind of event asks for."""

from dataclasses import dataclass

from .kinds import EventKind

# Deaths of one kind or another, where a cause is asked and "not known" is an honest answer.
NOT_KNOWN = "not known"
CAUSES = (
    NOT_KNOWN,
    "injury",
    "disease",
    "eaten (seen)",
    "eaten (suspected)",
    "jumped or drained",
    "old age",
    "after brooding",
    "water quality",
)

# Life stages that are offered; any other word may be written.
STAGES = ("egg case", "larva", "juvenile", "adult")


@dataclass(frozen=True, slots=True)
class Recording:
    """One kind of event on the form: its words, its question for the place, and what it needs.

    ``papers``: it crosses the house's wall with papers (a party, a permit); the registrar's.
    ``individuals``: it can happen to an animal that is followed by itself.
    ``ranged``: its number may be a best value between bounds (:mod:`.ranges`).
    """

    kind: EventKind
    words: str
    place: str
    to_place: bool = False
    cause: bool = False
    papers: bool = False
    individuals: bool = True
    ranged: bool = False
    caution: str = ""


RECORDINGS = (
    Recording(EventKind.DIED, "A death", "Where found", cause=True),
    Recording(EventKind.MOVED, "A move", "From", to_place=True),
    Recording(EventKind.MISSING, "Missing: not seen, not known dead", "Last seen in"),
    Recording(EventKind.SEEN_AGAIN, "Seen again", "Where"),
    Recording(EventKind.BORN, "Born or hatched", "Where", individuals=False, ranged=True),
    Recording(EventKind.DIVIDED, "Divided", "Where", individuals=False),
    Recording(EventKind.SETTLED, "Settled from sea water", "Where", individuals=False),
    Recording(EventKind.FOUND, "Found: there, and no cause known", "Where", individuals=False),
    Recording(
        EventKind.PUT_DOWN,
        "Put down",
        "Where",
        cause=True,
        caution="Record what was decided and done under the veterinarian's responsibility and your "
        "local rules; this page decides nothing.",
    ),
    Recording(EventKind.TAKEN, "Taken from the wild", "Into", papers=True),
    Recording(EventKind.RECEIVED, "Received", "Into", papers=True),
    Recording(EventKind.LOAN_IN, "Loan in", "Into", papers=True),
    Recording(EventKind.LOAN_OUT, "Loan out", "From", to_place=True, papers=True),
    Recording(EventKind.BACK_FROM_LOAN, "Back from loan", "From", to_place=True, papers=True),
    Recording(EventKind.GIVEN_BACK, "Given back to its owner", "From", papers=True),
    Recording(EventKind.SENT, "Sent for good", "From", papers=True),
    Recording(
        EventKind.RELEASED,
        "Released",
        "From",
        papers=True,
        caution="Releasing animals is governed by permits and local law; record only what was "
        "licensed and done.",
    ),
)


def offered(*, individual: bool) -> list[Recording]:
    """What can happen to a lot: some kinds make no sense for an animal that is followed by itself."""
    return [recording for recording in RECORDINGS if recording.individuals or not individual]
