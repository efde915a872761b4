"""What one end of a flow is."""

from typing import NamedTuple


class CellEnd(NamedTuple):
    """One cell as an end of flows. Inside it has a place and no cause, outside it is the other way
    round. A named tuple, for a report reads a hundred thousand of them; for the same reason
    ``off_site`` may be the 0 or 1 of a database."""

    lot_id: int
    taxon_id: int
    unit: str
    owner: str
    place_id: int | None
    off_site: bool
    sex: str
    standing: str
    cause: str = ""

    @property
    def missing(self) -> bool:
        """Not being seen, and still counted."""
        return self.standing == "missing"
