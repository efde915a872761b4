"""Pages of the census: who counts sees a sheet, who decides sees the differences."""

from ..rules.who import COMPARES, COUNTS, DECIDES, SAMPLES, SIGNS

__all__ = ["COMPARES", "COUNTS", "DECIDES", "SAMPLES", "SIGNS"]
