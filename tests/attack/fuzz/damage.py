"""Ways in which a file may be wrong: by accident, by another program, or on purpose.

Each takes bytes and a source of chance, and gives bytes; nothing here knows what the bytes mean to the house.
"""

import random
from collections.abc import Callable, Sequence

Damage = Callable[[random.Random, bytes], bytes]

# What people, programs and attackers put into a cell.
EVIL_CELLS: tuple[str, ...] = (
    *("", " ", "\u00a0", "0", "-1", "1e309", "NaN", "inf", "1.5", "999999999999999999999", "٣", "²"),
    *("=1+1", "=cmd|'/c calc'!A1", "+1", "-1+1", "@SUM(A1)", "\t=1", "#REF!", "#N/A", "TRUE"),
    *("2026-02-30", "31/12/9999", "0000-00-00", "2026-09-01T25:00", "9999-12-31", "1/2/2026", "99:99"),
    *("<script>alert(1)</script>", "{{ 7*7 }}", "'; DROP TABLE book_event; --", '"', "''", "\\", "%s%n"),
    *(
        "\u202eABC",
        "\u200b",
        "e\u0301" * 40,
        "\U0001f41f",
        "\ufeff",
        "\x00",
        "\x07",
        "\r\n",
        "a\nb",
        "\u2028",
    ),
    *("x" * 130, "x" * 40_000, "1" * 5_000, "died", "moved", "T1", "K1", "G1", "|", "||", "a|b", ",;\t"),
)
_DOCTYPE = (
    b'<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd"><!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10 if n else b"&a;" * 10) for n in range(9))
    + b"]>"
)


def flip(draw: random.Random, content: bytes) -> bytes:
    """A few bytes are others."""
    changed = bytearray(content)
    for _ in range(draw.choice((1, 1, 2, 8, 64))):
        if changed:
            changed[draw.randrange(len(changed))] = draw.randrange(256)
    return bytes(changed)


def cut_off(draw: random.Random, content: bytes) -> bytes:
    """The end is missing."""
    return content[: draw.randrange(len(content) + 1)]


def cut_out(draw: random.Random, content: bytes) -> bytes:
    """A stretch in the middle is missing."""
    start = draw.randrange(len(content) + 1)
    return content[:start] + content[start + draw.choice((1, 7, 80, 900)) :]


def twice(draw: random.Random, content: bytes) -> bytes:
    """A stretch stands there twice, or a hundred times."""
    start = draw.randrange(len(content) + 1)
    piece = content[start : start + draw.choice((1, 9, 200, 3_000))]
    return content[:start] + piece * draw.choice((2, 2, 100)) + content[start:]


def insert(draw: random.Random, content: bytes) -> bytes:
    """Something that does not belong there."""
    start = draw.randrange(len(content) + 1)
    what = draw.choice(
        (b"\x00", b"\x00" * 500, b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n\n", b'"', b"'", b"<", b"&", b"]]>",
         b"\xc3\x28", b"\xed\xa0\x80", draw.choice(EVIL_CELLS).encode(), draw.randbytes(40))
    )  # fmt: skip
    return content[:start] + what + content[start:]


def nothing(draw: random.Random, content: bytes) -> bytes:
    """Left as it is."""
    return content


def empty(draw: random.Random, content: bytes) -> bytes:
    """Nothing at all, or nearly."""
    return draw.choice((b"", b"\n", b" ", b"\x00", b"\xef\xbb\xbf"))


def any_bytes(draw: random.Random, content: bytes) -> bytes:
    """Noise, or the beginning of a file of another kind."""
    head = draw.choice(
        (b"", b"PK\x03\x04", bytes.fromhex("d0cf11e0a1b11ae1"), b"%PDF-1.7\n", b"\x1f\x8b",
         b"SQLite format 3\x00", b"<html><script>alert(1)</script>", b"{", b"\x89PNG\r\n\x1a\n",
         b"age-encryption.org/v1\n")
    )  # fmt: skip
    return head + draw.randbytes(draw.choice((0, 20, 600, 5_000)))


RAW: Sequence[Damage] = (flip, flip, cut_off, cut_out, twice, insert, insert, empty, any_bytes)


def table(draw: random.Random, content: bytes) -> bytes:
    """A table of text: its cells, its quotes, its encoding, its ends of lines, its size."""
    for _ in range(draw.choice((1, 1, 2, 3))):
        content = draw.choice(_TABLE)(draw, content)
    return content


def _lines(content: bytes) -> list[bytes]:
    return content.split(b"\n")


def _other_cell(draw: random.Random, content: bytes) -> bytes:
    lines = _lines(content)
    at = draw.randrange(len(lines))
    sign = draw.choice((b",", b",", b"\t", b";"))
    cells = lines[at].split(sign)
    evil = draw.choice(EVIL_CELLS)
    if draw.random() < 0.5:
        evil = '"' + evil.replace('"', '""') + '"'
    cells[draw.randrange(len(cells))] = evil.encode()
    lines[at] = sign.join(cells)
    return b"\n".join(lines)


def _other_lines(draw: random.Random, content: bytes) -> bytes:
    lines = _lines(content)
    what = draw.randrange(5)
    at = draw.randrange(len(lines))
    if what == 0:
        del lines[at]
    elif what == 1:
        lines.insert(draw.randrange(len(lines) + 1), lines[at])
    elif what == 2:
        draw.shuffle(lines)
    elif what == 3:
        lines[at] += b"," * draw.choice((1, 3, 2_000))
    else:
        lines[at] = b",".join(lines[at].split(b",")[:-1])
    return b"\n".join(lines)


def _other_encoding(draw: random.Random, content: bytes) -> bytes:
    text = content.decode("utf-8", "replace")
    encoding = draw.choice(
        ("utf-16", "utf-16-be", "utf-32", "latin-1", "cp1252", "cp037", "utf-7", "utf-8-sig")
    )
    return text.replace("e", "\u00e9", 3).encode(encoding, "replace")


def _other_ends(draw: random.Random, content: bytes) -> bytes:
    ends = draw.choice(
        ((b"\r\n",), (b"\r",), (b"\r\n", b"\n", b"\r"), (b"\n\r",), (b"\x0b", b"\x0c"), (b"\xe2\x80\xa8",))
    )
    lines = _lines(content)
    return b"".join(line + draw.choice(ends) for line in lines)


def _other_sign(draw: random.Random, content: bytes) -> bytes:
    return content.replace(b",", draw.choice((b";", b"\t", b"|", b", ", b"\x1f", b",,")))


def _quotes(draw: random.Random, content: bytes) -> bytes:
    start = draw.randrange(len(content) + 1)
    return content[:start] + draw.choice((b'"', b'""', b'"a"b', b"'", b'"\n"', b'""",')) + content[start:]


def _huge(draw: random.Random, content: bytes) -> bytes:
    """A cell of up to ten megabytes, ten thousand columns, or very many lines."""
    kind = draw.randrange(4)
    if kind == 0:
        start = draw.randrange(len(content) + 1)
        return (
            content[:start]
            + draw.choice((b"x", b'"', b"\xc3\xa9")) * draw.choice((140_000, 5_000_000))
            + content[start:]
        )
    lines = _lines(content)
    if kind == 1:
        lines[0] += b",column" * 10_000
    elif kind == 2:
        lines += [lines[-1] if len(lines[-1]) > 3 else lines[-2] if len(lines) > 1 else b"x"] * 5_000
    else:
        lines += [b""] * 200_000
    return b"\n".join(lines)


_TABLE: Sequence[Damage] = (
    *(_other_cell,) * 8, *(_other_lines,) * 3, _other_encoding, _other_ends, _other_sign, _quotes,
    *RAW, nothing,
)  # fmt: skip
_TABLE_RARE: Sequence[Damage] = (_huge,)


def huge_table(draw: random.Random, content: bytes) -> bytes:
    """The same, and very large."""
    return draw.choice(_TABLE_RARE)(draw, table(draw, content))


def markup(draw: random.Random, content: bytes) -> bytes:
    """A document of XML."""
    return draw.choice(_MARKUP)(draw, content)


def _declared(draw: random.Random, content: bytes) -> bytes:
    """Entities that reach for a file, and grow without end."""
    return content.replace(b"?>", b"?>" + _DOCTYPE, 1) if b"?>" in content else _DOCTYPE + content


def _declared_wide(draw: random.Random, content: bytes) -> bytes:
    """The same where nobody looks for it: in two bytes for each sign."""
    text = content.decode("utf-8", "replace").replace('encoding="UTF-8"', 'encoding="UTF-16"')
    return text.replace("?>", "?>" + _DOCTYPE.decode(), 1).encode("utf-16")


def _deep(draw: random.Random, content: bytes) -> bytes:
    """Elements within elements, closed or not."""
    depth = draw.choice((50, 2_000, 60_000))
    if draw.random() < 0.5:
        return content.replace(b"?>", b"?>" + b"<a>" * depth, 1)
    end = content.rfind(b"</")
    return content[:end] + b"<a>" * depth + b"</a>" * depth + content[end:]


def _other_signs(draw: random.Random, content: bytes) -> bytes:
    what = draw.choice((b"<", b">", b'"', b"/", b"="))
    return content.replace(what, draw.choice((b"", b"<<", b"&#0;", b"\x00")), 2)


def _other_names(draw: random.Random, content: bytes) -> bytes:
    return content.replace(b"http://", b"urn:x-", draw.choice((1, 9)))


def _whole_twice(draw: random.Random, content: bytes) -> bytes:
    return content + content


def _attribute(draw: random.Random, content: bytes) -> bytes:
    pieces = content.split(b'="')
    if len(pieces) < 2:
        return flip(draw, content)
    at = draw.randrange(1, len(pieces))
    _, end, rest = pieces[at].partition(b'"')
    evil = draw.choice(
        (
            b"",
            b"-1",
            b"999999999999",
            b"x",
            b"../../etc/passwd",
            b"1e9",
            b"A0",
            b"ZZZZZZ99",
            b"\xc3\xa9",
            b"utf-7",
            b"zlib",
            b"hex",
            b"idna",
            b"\\t\\t",
            b"0",
        )
    )
    pieces[at] = evil + end + rest
    return b'="'.join(pieces)


_MARKUP: Sequence[Damage] = (
    *(
        _declared,
        _declared_wide,
        _deep,
        _attribute,
        _attribute,
        _other_signs,
        _other_names,
        _whole_twice,
        flip,
    ),
    *RAW,
)
