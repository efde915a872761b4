"""What an answer needs to know beside its question."""

from dataclasses import dataclass
from datetime import tzinfo


@dataclass(frozen=True, slots=True)
class Setting:
    """``compares``: the reader may see counts beside the book."""

    zone: tzinfo
    compares: bool = False
