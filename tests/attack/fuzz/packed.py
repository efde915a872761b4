"""Spoilt zip archives: workbooks and archives of names. The parts are spoilt, or the zip itself is."""

import random
import re
import warnings
import zipfile
from collections.abc import Mapping
from io import BytesIO

from .damage import EVIL_CELLS, RAW, huge_table, markup, table

Parts = dict[str, bytes]

_CELL = re.compile(rb"<c [^>]*?(?:/>|>.*?</c>)", re.DOTALL)
_ROW = re.compile(rb"<row [^>]*>")
_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml")


def parts_of(content: bytes) -> Parts:
    """Names and content of what is packed."""
    with zipfile.ZipFile(BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def pack(parts: Mapping[str, bytes], *, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip of them."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def workbook(draw: random.Random, content: bytes) -> bytes:
    """A workbook that is wrong in one to three ways."""
    if draw.random() < 0.12:
        return draw.choice(RAW)(draw, content)
    parts = parts_of(content)
    for _ in range(draw.choice((1, 1, 2, 3))):
        kind = draw.random()
        if kind < 0.5:
            _spoil_sheet(draw, parts)
        elif kind < 0.75:
            _spoil_part(draw, parts)
        elif kind < 0.9:
            _spoil_shared(draw, parts)
        else:
            _spoil_directory(draw, parts)
    return _zip_itself(draw, pack(parts), parts)


def bomb(draw: random.Random, content: bytes) -> bytes:
    """A workbook that is small as long as nobody opens it."""
    parts = parts_of(content)
    sheets = [name for name in parts if _SHEET.fullmatch(name)]
    kind = draw.randrange(9)
    size = draw.choice((1 << 20, 12 << 20, 40 << 20))
    if kind == 0:
        parts["xl/media/filling.bin"] = b"\x00" * size
    elif kind == 1:
        parts["xl/sharedStrings.xml"] = _shared(b"<si><t>a</t></si>" * (size // 17))
        _register_shared(parts)
    elif kind == 2:
        parts["xl/sharedStrings.xml"] = _shared(b"<si>" + b"<r><t>a</t></r>" * (size // 15) + b"</si>")
        _register_shared(parts)
    elif kind == 3:
        # Under a name that nobody looks for; the list of content types says what it is.
        parts["xl/other.xml"] = _shared(b"<si/>" * (size // 5))
        _register_shared(parts, "/xl/other.xml")
    elif kind == 4:
        parts["xl/styles.xml"] = parts.get("xl/styles.xml", b"<a></a>").replace(
            b"<cellXfs", b"<cellXfs>" + b'<xf numFmtId="0"/>' * (size // 18) + b"</cellXfs><x", 1
        )
    elif kind == 5 and sheets:
        name = draw.choice(sheets)
        cells = b"".join(
            b'<c r="%s%d" t="n"><v>1</v></c>' % (b"XFD", n) for n in range(20, 20 + size // 4_000)
        )
        parts[name] = parts[name].replace(b"</sheetData>", b'<row r="20">' + cells + b"</row></sheetData>", 1)
    elif kind == 6 and sheets:
        name = draw.choice(sheets)
        rows = b"".join(
            b'<row r="%d"><c r="XFD%d"><v>1</v></c></row>' % (n, n) for n in range(60, 60 + 6_000)
        )
        parts[name] = parts[name].replace(b"</sheetData>", rows + b"</sheetData>", 1)
    elif kind == 7 and sheets:
        name = draw.choice(sheets)
        one = b'<c r="A30" t="inlineStr"><is>' + b"<r><t>a</t></r>" * (size // 15) + b"</is></c>"
        parts[name] = parts[name].replace(b"</sheetData>", b'<row r="30">' + one + b"</row></sheetData>", 1)
    else:
        parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(
            b"</sheets>",
            b"</sheets><definedNames>"
            + b'<definedName name="a">1</definedName>' * (size // 36)
            + b"</definedNames>",
            1,
        )
    return pack(parts)


def _shared(inside: bytes) -> bytes:
    return (
        b'<?xml version="1.0" encoding="UTF-8"?>'
        b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">' + inside + b"</sst>"
    )


def _register_shared(parts: Parts, name: str = "/xl/sharedStrings.xml") -> None:
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    types = parts.get("[Content_Types].xml", b"")
    types = re.sub(rb"<Override[^>]*sharedStrings\+xml\"[^>]*/>", b"", types)
    parts["[Content_Types].xml"] = types.replace(
        b"</Types>", f'<Override PartName="{name}" ContentType="{kind}"/></Types>'.encode(), 1
    )


def _spoil_sheet(draw: random.Random, parts: Parts) -> None:
    sheets = [name for name in parts if _SHEET.fullmatch(name)]
    if not sheets:
        return
    name = draw.choice(sheets)
    text = parts[name]
    cells = list(_CELL.finditer(text))
    kind = draw.randrange(10)
    if kind < 6 and cells:
        found = draw.choice(cells)
        text = text[: found.start()] + _cell(draw, found[0]) + text[found.end() :]
    elif kind == 6:
        rows = list(_ROW.finditer(text))
        if rows:
            found = draw.choice(rows)
            number = draw.choice(
                (b"0", b"-5", b"1", b"70000", b"1048577", b"99999999999", b"x", b"", b"1" * 5_000)
            )
            text = text[: found.start()] + b'<row r="' + number + b'">' + text[found.end() :]
    elif kind == 7:
        more = draw.choice(
            (
                b'<mergeCells count="1"><mergeCell ref="A1:C9"/></mergeCells>',
                b'<dimension ref="A1:XFD1048576"/>',
                b'<dimension ref="A0"/>',
                b'<dataValidations count="9"/>',
                b'<hyperlinks><hyperlink ref="A1"/></hyperlinks>',
            )
        )
        where = draw.choice((b"<sheetData>", b"</worksheet>"))
        text = text.replace(where, more + where, 1)
    elif kind == 8:
        text = markup(draw, text)
    else:
        text = re.sub(rb'<dimension ref="[^"]*"/>', b'<dimension ref="B2"/>', text)
    parts[name] = text


def _cell(draw: random.Random, cell: bytes) -> bytes:
    """One cell with another type, value or formula."""
    address = re.search(rb'r="([^"]*)"', cell)
    where = address[1] if address else b"A1"
    if draw.random() < 0.1:
        where = draw.choice((b"", b"1A", b"XFE1", b"ZZZZ9", b"A0", b"A99999999999", b"\xc3\x84"))
    evil = draw.choice(EVIL_CELLS).replace("&", "&amp;").replace("<", "&lt;").encode("utf-8", "replace")
    number = draw.choice(
        (b"0", b"-1", b"1e400", b"99999999", b"2958466", b"-700000", b"NaN", b"", b"1e-320", b"45000.9999999")
    )
    return draw.choice((
        b'<c r="%s" t="s"><v>%s</v></c>' % (where, draw.choice((b"-1", b"99999", b"x", b"", b"1.5"))),
        b'<c r="%s" t="inlineStr"><is><t>%s</t></is></c>' % (where, evil),
        b'<c r="%s" t="str"><f>1+1</f><v>%s</v></c>' % (where, evil),
        b'<c r="%s"><f>SUM(A1:A9)</f></c>' % where,
        b'<c r="%s"><f t="shared" si="7"/><v>3</v></c>' % where,
        b'<c r="%s"><f t="array" ref="A1:Z99">1</f><v>3</v></c>' % where,
        b'<c r="%s" t="e"><v>#REF!</v></c>' % where,
        b'<c r="%s" t="b"><v>%s</v></c>' % (where, number),
        b'<c r="%s" t="d"><v>%s</v></c>' % (where, draw.choice((b"2026-09-01", b"2026-99-99", b"x"))),
        b'<c r="%s" t="zz"><v>1</v></c>' % where,
        b'<c r="%s" s="%s"><v>%s</v></c>' % (where, draw.choice((b"0", b"1", b"9999", b"-1", b"x")), number),
        b'<c r="%s"/>' % where,
        cell + cell,
        b"",
    ))  # fmt: skip


def _spoil_part(draw: random.Random, parts: Parts) -> None:
    name = draw.choice(sorted(parts))
    kind = draw.random()
    if kind < 0.15:
        del parts[name]
    elif kind < 0.25:
        parts[draw.choice(sorted(parts))] = parts[name]
    else:
        parts[name] = markup(draw, parts[name])


def _spoil_shared(draw: random.Random, parts: Parts) -> None:
    """Text that cells share."""
    if "xl/sharedStrings.xml" not in parts:
        parts["xl/sharedStrings.xml"] = _shared(b"<si><t>T1</t></si>")
        _register_shared(parts)
    text = parts["xl/sharedStrings.xml"]
    evil = draw.choice(EVIL_CELLS).replace("&", "&amp;").replace("<", "&lt;").encode("utf-8", "replace")
    parts["xl/sharedStrings.xml"] = draw.choice((
        text.replace(b"<si>", b"", 1),
        re.sub(rb"<t[^>]*>[^<]*</t>", lambda _: b"<t>" + evil + b"</t>", text, count=draw.choice((1, 4, 99))),
        text.replace(b"<t>", b"<t><t>", 1),
        text.replace(b"</sst>", b"<si><r><rPr><b/></rPr><t>a</t></r><rPh/></si></sst>"),
        _shared(b""),
        markup(draw, text),
    ))  # fmt: skip


def _spoil_directory(draw: random.Random, parts: Parts) -> None:
    """Names that point elsewhere, and parts that nobody asked for."""
    kind = draw.randrange(5)
    if kind == 0:
        parts[
            draw.choice(
                ("../../outside.xml", "/etc/passwd", "xl/../../x", "C:\\x", "a" * 3_000, "\u202e.xml")
            )
        ] = b"x"
    elif kind == 1:
        parts["xl/externalLinks/externalLink1.xml"] = b'<externalLink xmlns="x"/>'
        rels = parts.get("xl/_rels/workbook.xml.rels", b"")
        parts["xl/_rels/workbook.xml.rels"] = rels.replace(
            b"</Relationships>",
            b'<Relationship Id="rId99" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/'
            b'externalLink" Target="http://127.0.0.1:9/x" TargetMode="External"/></Relationships>',
            1,
        )
    elif kind == 2:
        for n in range(300):
            parts[f"xl/worksheets/extra{n}.xml"] = b"<worksheet/>"
    elif kind == 3:
        parts["xl/vbaProject.bin"] = draw.randbytes(100)
    else:
        parts[draw.choice(sorted(parts))] = b""


def archive(draw: random.Random, content: bytes) -> bytes:
    """A spoilt archive of names."""
    if draw.random() < 0.12:
        return draw.choice(RAW)(draw, content)
    parts = parts_of(content)
    for _ in range(draw.choice((1, 1, 2))):
        name = draw.choice(sorted(parts))
        kind = draw.random()
        if kind < 0.08 and len(parts) > 1:
            del parts[name]
        elif kind < 0.12:
            parts[draw.choice(("../outside.csv", "/abs.csv", "in/side/taxon.csv", "TAXON.CSV"))] = parts[name]
        elif name.endswith(".xml"):
            parts[name] = markup(draw, parts[name])
        elif kind < 0.14:
            parts[name] = huge_table(draw, parts[name])
        else:
            parts[name] = table(draw, parts[name])
    return _zip_itself(draw, pack(parts), parts)


def archive_bomb(draw: random.Random, content: bytes) -> bytes:
    """An archive of names, or a backup, that unpacks to far more than it is."""
    parts = parts_of(content)
    name = draw.choice(sorted(parts))
    parts[name] += draw.choice((b"\n", b"x", b"a,b\n", b'"')) * draw.choice((2 << 20, 70 << 20))
    return pack(parts)


def _zip_itself(draw: random.Random, packed: bytes, parts: Parts) -> bytes:
    """Mostly left as it is; else the zip's own directory lies."""
    kind = draw.random()
    if kind < 0.8:
        return packed
    if kind < 0.84:
        return packed[: -draw.choice((1, 20, 60))]
    if kind < 0.88:
        changed = bytearray(packed)
        at = packed.find(b"PK\x01\x02")
        # Sizes, method, flags and checksum of the first part's entry.
        changed[at + draw.randrange(6, 40)] ^= draw.choice((1, 9, 255))
        return bytes(changed)
    if kind < 0.92:
        out = BytesIO()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            with zipfile.ZipFile(out, "w") as twice:
                for name, inside in [*parts.items(), next(iter(parts.items()))]:
                    twice.writestr(name, inside)
        return out.getvalue()
    if kind < 0.96:
        return pack(parts, method=draw.choice((zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)))
    return draw.choice(RAW)(draw, packed)
