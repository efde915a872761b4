from .census import Census
from .counts import Count, Recount, Sighting
from .decisions import Decision
from .sheets import Line, Sheet

__all__ = ["Census", "Count", "Decision", "Line", "Recount", "Sheet", "Sighting"]
