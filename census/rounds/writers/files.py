"""Count sheets into files: one file for all, or a folder with one for each."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from ..queries.blind import BlindSheet
from .count_sheets import write_sheets
from .sheet_pdf import write_pdf

Pictures = Mapping[str, bytes]
WRITERS: dict[str, Callable[[Sequence[BlindSheet], Path, Pictures], object]] = {
    "xlsx": lambda sheets, out, _: write_sheets(sheets, out),
    "pdf": write_pdf,
}


def write_to(sheets: Sequence[BlindSheet], out: Path, form: str | None = None, *, pictures: Pictures) -> None:
    """Writes ``sheets`` to ``out``: one file where its name ends as a form does, else a folder.

    ``form`` left out: the ending of the file, else xlsx.
    """
    ending = out.suffix.lower().removeprefix(".")
    writer = WRITERS[form or (ending if ending in WRITERS else "xlsx")]
    if ending in WRITERS:
        writer(sheets, out, pictures)
        return
    out.mkdir(parents=True, exist_ok=True)
    for sheet in sheets:
        writer([sheet], out / f"{sheet.number}.{form or 'xlsx'}", pictures)
