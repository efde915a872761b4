"""How a count sheet stands in a workbook; writer and reader share it."""

FORM = "Count sheet"
# (label in column A, what stands in column B), from the first row on.
HEAD = (FORM, "Place", "List version", "Count", "Counted by", "Counted at")
HEADER_ROW = 9
COLUMNS = (
    "line",
    "place",
    "name",
    "common name",
    "unit",
    "class",
    "individual",
    "marks",
    "count",
    "lowest",
    "highest",
    "passes",
    "males",
    "females",
    "hermaphrodites",
    "unknown",
    "seen",
    "counted by",
    "counted at",
    "remark",
)
# Workbooks that were written before it have no such column, and are read all the same.
LATER = ("passes",)
# What the counter fills in; the rest is the list.
BOXES = COLUMNS[COLUMNS.index("count") :]
WRITE_IN = "+"
WRITE_IN_ROWS = 8
RULE = (
    "Count what is there. Type 0 where there is none; leave blank what you did not count. "
    'Animals that hide: "at least 22". Class D: a letter S A C F O R. '
    "Not on the list: write its name in a row marked +."
)
