"""Labels as PDF sheets and as single SVG pictures."""

import io
import zipfile
from collections.abc import Sequence
from datetime import datetime
from xml.sax.saxutils import escape

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from ..rules.label_formats import LabelFormat
from ..rules.labels import POINT, Drawn, Label, lay_out

_PLAIN, _BOLD = "Helvetica", "Helvetica-Bold"
_WEIGHT = {False: "normal", True: "bold"}


class NotPrintable(ValueError):
    """Labels that cannot be printed as asked; the message says why and what to do."""


def pdf_of(labels: Sequence[Label], form: LabelFormat, *, start: int = 1, made_at: datetime) -> bytes:
    """Sheets of labels; ``start`` is the first free label of a part-used sheet, 1 for a whole one.

    Raises :class:`NotPrintable`, and what the layout raises: :class:`..rules.qr.TooSmall`,
    :class:`..rules.labels.NoRoom`.
    """
    _check(labels, form, start)
    drawn = [lay_out(label, form, width_of) for label in labels]
    out = io.BytesIO()
    # invariant: the same labels are the same bytes, whenever they are printed.
    page = Canvas(out, pagesize=(form.page_width * mm, form.page_height * mm), invariant=1)
    page.setTitle(f"Labels, {form.words}")
    page.setSubject(f"{len(labels)} labels, made {made_at:%Y-%m-%d}")
    for number, one in enumerate(drawn, start - 1):
        if number > start - 1 and number % form.on_a_sheet == 0:
            page.showPage()
        _draw(page, one, form, number % form.on_a_sheet)
    page.showPage()
    page.save()
    return out.getvalue()


def svg_of(label: Label, form: LabelFormat) -> str:
    """One label as a picture of its true size; the QR code is one path, a run of modules a bar."""
    one = lay_out(label, form, width_of)
    step = one.symbol.module
    bars = "".join(
        f"M{one.qr_x + x * step:.4f} {one.qr_y + y * step:.4f}h{n * step:.4f}v{step:.4f}h{-n * step:.4f}z"
        for y, x, n in one.symbol.runs()
    )
    texts = "".join(
        f'<text x="{text.x:.3f}" y="{text.y:.3f}" font-size="{text.size * POINT:.3f}" '
        f'font-weight="{_WEIGHT[text.bold]}">{escape(text.words)}</text>'
        for text in one.texts
    )
    said = escape(f"{label.code} {label.name}: {label.address}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{form.width}mm" height="{form.height}mm" '
        f'viewBox="0 0 {form.width} {form.height}" role="img"><title>{said}</title>'
        f'<rect width="{form.width}" height="{form.height}" fill="#fff"/>'
        f'<path d="{bars}" fill="#000" shape-rendering="crispEdges"/>'
        f'<g font-family="Helvetica, Arial, sans-serif" fill="#000">{texts}</g></svg>\n'
    )


def svgs_of(labels: Sequence[Label], form: LabelFormat) -> dict[str, str]:
    """File name and picture of each label; names hold letters, digits and hyphens only."""
    found: dict[str, str] = {}
    for label in labels:
        plain = "".join(letter if letter.isalnum() else "-" for letter in label.code)
        name, again = plain, 2
        while f"{name}.svg" in found:
            name, again = f"{plain}-{again}", again + 1
        found[f"{name}.svg"] = svg_of(label, form)
    return found


def zip_of(pictures: dict[str, str]) -> bytes:
    """The pictures in one file to save; the same pictures are the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as folder:
        for name, picture in pictures.items():
            folder.writestr(zipfile.ZipInfo(name), picture)
    return out.getvalue()


def width_of(words: str, size: float, bold: bool) -> float:
    """How wide a text is in the PDF's font, in mm."""
    return float(stringWidth(words, _BOLD if bold else _PLAIN, size)) * POINT


def _check(labels: Sequence[Label], form: LabelFormat, start: int) -> None:
    if not labels:
        raise NotPrintable("There is nothing to print: choose a place or a lot.")
    if not 1 <= start <= form.on_a_sheet:
        raise NotPrintable(
            f"A sheet of this format has {form.on_a_sheet} labels: begin at 1 to {form.on_a_sheet}."
        )
    for label in labels:
        words = " ".join((label.code, label.name, *label.more, label.caution))
        strange = sorted({letter for letter in words if not _has(letter)})
        if strange:
            raise NotPrintable(
                f"The PDF's font has no {' '.join(strange)} ({label.code} {label.name}): "
                "take the labels as SVG, which are drawn with the fonts of your machine."
            )


def _has(letter: str) -> bool:
    try:
        letter.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def _draw(page: Canvas, one: Drawn, form: LabelFormat, position: int) -> None:
    """One label; PDF counts upwards from the page's lower left."""
    left, top = form.corner(position)
    step = one.symbol.module
    page.setFillGray(0)
    for y, x, n in one.symbol.runs():
        page.rect(
            (left + one.qr_x + x * step) * mm,
            (form.page_height - top - one.qr_y - (y + 1) * step) * mm,
            n * step * mm,
            step * mm,
            stroke=0,
            fill=1,
        )
    for text in one.texts:
        page.setFont(_BOLD if text.bold else _PLAIN, text.size)
        page.drawString((left + text.x) * mm, (form.page_height - top - text.y) * mm, text.words)
