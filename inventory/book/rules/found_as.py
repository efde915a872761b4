"""What an animal that stood on no list turns out to be: written in on a count sheet, or at a tank. Pure."""

from enum import StrEnum

from .kinds import EventKind


class FoundAs(StrEnum):
    """What a written-in animal turns out to be."""

    OTHER_NAME = "other_name"
    CAME_WITH = "came_with"
    SETTLED = "settled"
    MOVED = "moved"
    INTRODUCED = "introduced"

    @property
    def words(self) -> str:
        return {
            "other_name": "already here under another name",
            "came_with": "came with rock, kelp or animals",
            "settled": "settled from sea water",
            "moved": "moved here without a record",
            "introduced": "introduced species",
        }[self.value]


# The event by which the book learns of it, where one follows. An introduced species is no stock by it.
FOLLOWS_AS = {
    FoundAs.CAME_WITH: EventKind.FOUND,
    FoundAs.SETTLED: EventKind.SETTLED,
    FoundAs.MOVED: EventKind.MOVED,
}
