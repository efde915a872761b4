"""What the matcher asks of a store of names. A larger backbone may answer it in another way."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from .parse import Reading
from .verdicts import Caution, Usage


@dataclass(frozen=True, slots=True)
class Near:
    """A name not equal but near: its usage, and the edits word by word (genus, epithet ...)."""

    usage: Usage
    distances: tuple[int, ...]

    @property
    def total(self) -> int:
        """Edits over the whole name."""
        return sum(self.distances)


class NameStore(Protocol):
    """Each question takes many names at once and is answered in a constant number of queries."""

    @property
    def release(self) -> str:
        """Name and version of the backbone release that answers."""

    def named(self, canonical_names: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """Usages by canonical name, several for homonyms."""

    def called(self, keys: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """Accepted usages by the key of a common name (:func:`.parse.common_key`)."""

    def near(self, readings: Collection[Reading]) -> Mapping[Reading, Sequence[Near]]:
        """The nearest names of each reading, all of the least distance; far ones left out.

        For an abbreviated genus: every species whose genus begins so, with equal epithet.
        """

    def cautions(self, canonical_names: Collection[str]) -> Mapping[str, Caution]:
        """Range cautions by the name they warn of."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a store found for a set of lines."""

    release: str = ""
    named: Mapping[str, Sequence[Usage]] = field(default_factory=dict)
    called: Mapping[str, Sequence[Usage]] = field(default_factory=dict)
    near: Mapping[Reading, Sequence[Near]] = field(default_factory=dict)
    cautions: Mapping[str, Caution] = field(default_factory=dict)
