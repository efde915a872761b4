"""Loads a house's records from a workbook or a folder of csv files, all or nothing."""

from .load import load
from .report import LoadReport, SheetTally

__all__ = ["LoadReport", "SheetTally", "load"]
