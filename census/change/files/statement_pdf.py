"""The printed statement of a closing as pages for a binder. The same text gives the same bytes for ever."""

import io
import textwrap
from collections.abc import Iterator

from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from inventory.names.rules.italics import italic_part

WIDTH, HEIGHT = A4
LEFT, TOP, BOTTOM = 54.0, HEIGHT - 54.0, 60.0
SIZE, LEADING = 9.0, 12.0
# Letters of Courier, six tenths of their size wide, between the margins.
LETTERS = int((WIDTH - 2 * LEFT) / (SIZE * 0.6))
LINES = int((TOP - BOTTOM) / LEADING)


def statement_pdf(text: str, *, title: str, foot: str) -> bytes:
    """``text`` line by line in a face of one width; ``foot`` and the page's number stand below each page.

    No moment of printing and no identifier by chance: what is made of the same text is the same file.
    """
    pages = _pages(text)
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1, pageCompression=1)
    canvas.setTitle(_plain(title))
    canvas.setAuthor("Tidetally")
    for number, lines in enumerate(pages, start=1):
        page = canvas.beginText(LEFT, TOP)
        page.setFont("Courier", SIZE, LEADING)
        for line in lines:
            # A row's name leans; its unit behind it does not.
            leans = italic_part(line.partition(" (")[0])
            if leans:
                page.setFont("Courier-Oblique", SIZE, LEADING)
                page.textOut(_plain(leans))
                page.setFont("Courier", SIZE, LEADING)
            page.textLine(_plain(line[len(leans) :]))
        canvas.drawText(page)
        canvas.setFont("Courier", SIZE - 1)
        canvas.drawString(LEFT, BOTTOM - 24, _plain(foot))
        canvas.drawRightString(WIDTH - LEFT, BOTTOM - 24, f"page {number} of {len(pages)}")
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _pages(text: str) -> list[list[str]]:
    """A line and those set in below it stay on one page, unless they are longer than one."""
    pages: list[list[str]] = [[]]
    for lines in _together(text):
        if pages[-1] and len(pages[-1]) + len(lines) > LINES:
            pages.append([])
        for line in lines:
            if len(pages[-1]) == LINES:
                pages.append([])
            pages[-1].append(line)
    return pages


def _together(text: str) -> Iterator[list[str]]:
    found: list[str] = []
    for line in text.splitlines():
        if found and not line.startswith(" "):
            yield found
            found = []
        found += _wrapped(line)
    if found:
        yield found


def _wrapped(line: str) -> list[str]:
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(line, LETTERS, subsequent_indent=indent, drop_whitespace=False) or [""]


def _plain(text: str) -> str:
    """What the face has no letter for stands as a question mark, as it would on any printer of one face."""
    return text.replace("\N{MINUS SIGN}", "-").encode("cp1252", "replace").decode("cp1252")
