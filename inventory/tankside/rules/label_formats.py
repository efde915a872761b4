"""Sheets of labels that shops sell, and tags on a roll, as data in millimetres.

Geometry is *common practice, no source*, written down from memory: makers differ by tenths of a
millimetre. Print one sheet on plain paper and hold it against the labels before you print on them.
"""

from dataclasses import dataclass

INCH = 25.4


@dataclass(frozen=True, slots=True)
class LabelFormat:
    """One format. ``pitch`` is from one label's left (upper) edge to the next one's; ``padding`` is
    kept white inside each label, for printers do not print to the very edge."""

    code: str
    words: str
    page_width: float
    page_height: float
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    pitch_x: float
    pitch_y: float
    padding: float

    @property
    def on_a_sheet(self) -> int:
        return self.columns * self.rows

    def corner(self, position: int) -> tuple[float, float]:
        """Left and upper edge of the label at ``position`` (0 is the first), from the page's upper left;
        labels go row by row."""
        row, column = divmod(position, self.columns)
        return self.left + column * self.pitch_x, self.top + row * self.pitch_y


def _a4(
    code: str, *, columns: int, rows: int, width: float, height: float, gap: float, padding: float
) -> LabelFormat:
    """Labels in the middle of an A4 page, with a gap between the columns and none between the rows."""
    return LabelFormat(
        code=code,
        words=f"A4, {columns} by {rows} labels of {width:g} by {height:g} mm",
        page_width=210,
        page_height=297,
        columns=columns,
        rows=rows,
        width=width,
        height=height,
        left=(210 - columns * width - (columns - 1) * gap) / 2,
        top=(297 - rows * height) / 2,
        pitch_x=width + gap,
        pitch_y=height,
        padding=padding,
    )


def _letter(
    code: str, *, columns: int, rows: int, width: float, height: float, left: float, pitch: float
) -> LabelFormat:
    """Labels on a US Letter page, half an inch from its upper edge; all in inches."""
    return LabelFormat(
        code=code,
        words=f"US Letter, {columns} by {rows} labels of {width:g} by {height:g} in",
        page_width=8.5 * INCH,
        page_height=11 * INCH,
        columns=columns,
        rows=rows,
        width=width * INCH,
        height=height * INCH,
        left=left * INCH,
        top=0.5 * INCH,
        pitch_x=pitch * INCH,
        pitch_y=height * INCH,
        padding=2,
    )


def _tag(code: str, *, width: float, height: float) -> LabelFormat:
    """Tags one after the other on a roll: each is a page of its own."""
    return LabelFormat(
        code=code,
        words=f"Roll of waterproof tags, {width:g} by {height:g} mm",
        page_width=width,
        page_height=height,
        columns=1,
        rows=1,
        width=width,
        height=height,
        left=0,
        top=0,
        pitch_x=width,
        pitch_y=height,
        padding=1.5,
    )


FORMATS = (
    _a4("a4-3x8", columns=3, rows=8, width=70, height=37, gap=0, padding=4),
    _a4("a4-2x7", columns=2, rows=7, width=99.1, height=38.1, gap=2.5, padding=2.5),
    _a4("a4-3x7", columns=3, rows=7, width=63.5, height=38.1, gap=2.5, padding=2.5),
    _letter("letter-3x10", columns=3, rows=10, width=2.625, height=1, left=0.1875, pitch=2.75),
    _letter("letter-2x5", columns=2, rows=5, width=4, height=2, left=0.15625, pitch=4.1875),
    _tag("tag-50x25", width=50, height=25),
)
BY_CODE = {form.code: form for form in FORMATS}
