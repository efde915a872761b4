"""The paper that travels with animals, as PDF."""

from collections.abc import Iterable
from io import BytesIO
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from inventory.book.rules.words import KIND_WORDS
from inventory.doors.numbered import Foot, numbered
from inventory.doors.printed import printable
from inventory.names.rules.italics import italic_part
from inventory.names.rules.lists import NOT_MEDICAL_ADVICE

from ..queries.transport import Consigned, Transport

NO_PERMIT = "Check local rules: this is a record, not a permit."
_PLAIN = ParagraphStyle("plain", fontName="Helvetica", fontSize=9, leading=11.5)
_SMALL = ParagraphStyle("small", parent=_PLAIN, fontSize=8, leading=10, textColor=colors.Color(0.3, 0.3, 0.3))
_BOLD = ParagraphStyle("bold", parent=_PLAIN, fontName="Helvetica-Bold")
_HEAD = ParagraphStyle("head", parent=_BOLD, fontSize=15, leading=19)
_PART = ParagraphStyle("part", parent=_BOLD, fontSize=11, leading=14, spaceBefore=8, spaceAfter=3)
# The frame keeps 6 points at each side.
_WIDTH = A4[0] - 36 * mm - 12


def transport_pdf(found: Transport, *, when: str) -> bytes:
    """``when`` is the departure's day or minute, the house's own; the same paper is the same bytes."""
    out = BytesIO()
    paper = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=18 * mm,
        rightMargin=18 * mm,
        topMargin=16 * mm,
        bottomMargin=20 * mm,
        title=f"Animals in transport, event {found.event.pk}",
        author=found.house.name if found.house else "",
        invariant=1,
    )
    paper.build(list(_story(found, when)), canvasmaker=numbered(_foot(found, when)))
    return out.getvalue()


def _story(found: Transport, when: str) -> Iterable[Flowable]:
    event, house = found.event, found.house
    yield Paragraph("Animals in transport", _HEAD)
    yield Paragraph(NO_PERMIT, _BOLD)
    yield Spacer(1, 6)
    licence = f", licence {house.licence_number}" if house and house.licence_number else ""
    yield _facts(
        [
            ("From", f"{house.name if house else ''}{licence}"),
            ("To", event.party or "not stated"),
            ("What", f"{KIND_WORDS.get(event.kind, event.kind)}: {found.total} in all"),
            ("Departure", when),
            ("Agreement", "; ".join(f"{loan.reference} with {loan.party}" for loan in found.loans)),
            ("Permit named", event.permit_number),
            ("Our record", f"event {event.pk}, {event.identifier}"),
            ("Remark", event.note),
        ]
    )
    yield Paragraph("Animals", _PART)
    yield _animals(found.consigned)
    yield Paragraph("Number: in all, then males.females.others (not known, hermaphrodites).", _SMALL)
    yield from _permits(found)
    yield from _listings(found)
    yield KeepTogether(_hands())


def _facts(rows: Iterable[tuple[str, str]]) -> Table:
    cells = [[Paragraph(head, _BOLD), _text(words)] for head, words in rows if words]
    table = Table(cells, colWidths=[32 * mm, _WIDTH - 32 * mm])
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, -1), 0)]))
    return table


def _animals(consigned: Iterable[Consigned]) -> Table:
    heads = [
        Paragraph(words, _BOLD) for words in ("Lot", "Species", "Number", "Marks", "Source, permit, owner")
    ]
    rows = [heads]
    for one in consigned:
        taxon = one.lot.taxon
        common = f"<br/>{_plain(taxon.common_name)}" if taxon.common_name else ""
        marks = "; ".join(words for words in (one.lot.house_name, one.lot.marks) if words)
        owner = f"; owner: {one.lot.owner}" if one.lot.owner else ""
        rows.append(
            [
                _text(one.lot.accession),
                Paragraph(f"{_name(taxon.scientific_name)}{common}", _PLAIN),
                _text(f"{one.number}{f' ({one.stages})' if one.stages else ''}"),
                _text(marks or "none"),
                _text(f"{one.source or 'not known'}{owner}"),
            ]
        )
    table = Table(rows, colWidths=[24 * mm, 44 * mm, 34 * mm, 30 * mm, _WIDTH - 132 * mm], repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), 1, colors.black),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, colors.Color(0.6, 0.6, 0.6)),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ]
        )
    )
    return table


def _permits(found: Transport) -> Iterable[Flowable]:
    if found.permits:
        yield Paragraph("Permits under which they were taken or are held", _PART)
    for permit in found.permits:
        conditions = max(permit.versions.all(), key=lambda version: version.number).conditions
        yield _text(f"{permit.number}, {permit.authority.name}, holder {permit.holder}. {conditions}")


def _listings(found: Transport) -> Iterable[Flowable]:
    by_name = {one.lot.taxon.scientific_name: one for one in found.consigned}
    law = [(name, listing) for name, one in by_name.items() for listing in one.law]
    if law:
        yield Paragraph("Lists of trade and protection: papers of their own may be needed", _PART)
    for name, listing in law:
        region = f", {listing.entry.region}" if listing.entry.region else ""
        said = f"{listing.entry.annotation} ({listing.entry.of_list.name}{region}; {listing.mark})"
        yield Paragraph(f"{_name(name)}: {_plain(said)}", _PLAIN)
    hazards: dict[int, tuple[list[str], Consigned]] = {}
    for name, one in by_name.items():
        for listing in one.hazards:
            hazards.setdefault(listing.entry.pk, ([], one))[0].append(name)
    yield Paragraph("Beware", _PART)
    if not hazards:
        yield _text("Our lists name no hazard of these animals. That is no proof that there is none.")
    for pk, (names, one) in hazards.items():
        listing = next(listing for listing in one.hazards if listing.entry.pk == pk)
        entry = listing.entry
        about = "All animals" if listing.reason.is_general else ", ".join(map(_name, names))
        yield KeepTogether(
            [
                Paragraph(f"{about}: {_plain(entry.annotation)}", _BOLD),
                _text(f"{entry.what} First: {entry.what_to_do_first}"),
                Spacer(1, 3),
            ]
        )
    if hazards:
        yield Paragraph(NOT_MEDICAL_ADVICE, _SMALL)


def _hands() -> list[Flowable]:
    """Who had them: each hand-over with day, names and number, so that there is no gap."""
    cells = [["Handed over", "Day and time", "Name", "Number alive", "Signed"]]
    cells += [[who, "", "", "", ""] for who in ("by the sender", "by the carrier", "received")]
    rows = [
        [Paragraph(words, _BOLD if line == 0 else _PLAIN) for words in row] for line, row in enumerate(cells)
    ]
    table = Table(
        rows, colWidths=[30 * mm, 34 * mm, 40 * mm, 28 * mm, _WIDTH - 132 * mm], rowHeights=[16, 24, 24, 24]
    )
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, colors.Color(0.5, 0.5, 0.5)),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ]
        )
    )
    return [Paragraph("Hand-over", _PART), table]


def _foot(found: Transport, when: str) -> Foot:
    house = printable(found.house.name if found.house else "")

    def draw(canvas: Canvas, page: str) -> None:
        canvas.setFont("Helvetica", 8)
        # A leaf that went astray says whose it is, on a line of its own: names of houses are long.
        canvas.drawRightString(A4[0] - 18 * mm - 6, 16 * mm, house)
        canvas.drawString(18 * mm + 6, 12 * mm, NO_PERMIT)
        canvas.drawRightString(A4[0] - 18 * mm - 6, 12 * mm, f"event {found.event.pk}, {when}, {page}")

    return draw


def _text(words: str) -> Paragraph:
    return Paragraph(_plain(words), _PLAIN)


def _name(words: str) -> str:
    """A scientific name as it is printed."""
    leans = italic_part(words)
    return f"<i>{_plain(leans)}</i>{_plain(words[len(leans) :])}" if leans else _plain(words)


def _plain(words: str) -> str:
    """As markup that means itself, in the letters of the standard fonts."""
    return escape(printable(words))
