"""Reads a QR code from its modules, sharing no code with what draws ours.

After ISO/IEC 18004:2015: format information (7.9, BCH (15, 5) with its mask), data masks (7.8.2), the way
of the code words up and down in columns of two (7.7.3), blocks and Reed-Solomon over GF(256) with the
polynomial 285 (7.5), byte and numeric mode (7.4). Tables from memory for versions 1 to 6, levels M and
Q; that they and the arithmetic are right is held by the standard's own worked example (Annex I) in
``test_labels_qr.py``. It corrects nothing: a wrong code word is an error.
"""

from collections.abc import Sequence

Matrix = Sequence[Sequence[bool]]

# (version, level): check words in a block, data words of each block (table 9).
BLOCKS = {
    (1, "M"): (10, [16]),
    (1, "Q"): (13, [13]),
    (2, "M"): (16, [28]),
    (2, "Q"): (22, [22]),
    (3, "M"): (26, [44]),
    (3, "Q"): (18, [17, 17]),
    (4, "M"): (18, [32, 32]),
    (4, "Q"): (26, [24, 24]),
    (5, "M"): (24, [43, 43]),
    (5, "Q"): (18, [15, 15, 16, 16]),
    (6, "M"): (16, [27, 27, 27, 27]),
    (6, "Q"): (24, [19, 19, 19, 19]),
}
ALIGNMENT = {1: [], 2: [6, 18], 3: [6, 22], 4: [6, 26], 5: [6, 30], 6: [6, 34]}
LEVELS = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}
MASKS = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: i % 2 == 0,
    lambda i, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: (i * j) % 2 + (i * j) % 3 == 0,
    lambda i, j: ((i * j) % 2 + (i * j) % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + (i * j) % 3) % 2 == 0,
)


class Unreadable(ValueError):
    """The modules are no QR code of these versions and levels."""


def read(matrix: Matrix) -> str:
    """The text of a code."""
    version, level, words = data_words(matrix)
    bits = "".join(f"{word:08b}" for word in words)
    mode, bits = int(bits[:4], 2), bits[4:]
    if mode == 0b0100:
        length, bits = int(bits[:8], 2), bits[8:]
        return bytes(int(bits[8 * n : 8 * n + 8], 2) for n in range(length)).decode()
    if mode == 0b0001:
        length, bits = int(bits[:10], 2), bits[10:]
        digits = ""
        while len(digits) < length:
            take = min(3, length - len(digits))
            width = {3: 10, 2: 7, 1: 4}[take]
            digits += f"{int(bits[:width], 2):0{take}d}"
            bits = bits[width:]
        return digits
    raise Unreadable(f"mode {mode:04b} in version {version}-{level}")


def data_words(matrix: Matrix) -> tuple[int, str, list[int]]:
    """Version, level and the data words, every block proved by its check words."""
    size = len(matrix)
    version = (size - 17) // 4
    if size != 17 + 4 * version or version not in ALIGNMENT:
        raise Unreadable(f"{size} modules a side")
    _finders(matrix, size)
    level, mask = _format(matrix)
    check, sizes = BLOCKS[version, level]
    raw = _code_words(matrix, version, mask)[: sum(sizes) + check * len(sizes)]
    blocks: list[list[int]] = [[] for _ in sizes]
    at = iter(raw)
    for n in range(max(sizes)):
        for block, length in zip(blocks, sizes, strict=True):
            if n < length:
                block.append(next(at))
    for _ in range(check):
        for block in blocks:
            block.append(next(at))
    for block in blocks:
        if any(syndromes(block, check)):
            raise Unreadable("a block does not agree with its check words")
    return version, level, [w for block, length in zip(blocks, sizes, strict=True) for w in block[:length]]


def syndromes(words: Sequence[int], check: int) -> list[int]:
    """The block's polynomial at the first powers of 2; all zero when nothing is damaged."""
    found = []
    for power in range(check):
        value = 0
        for word in words:
            value = _times(value, _EXP[power]) ^ word
        found.append(value)
    return found


def _powers() -> list[int]:
    powers, value = [], 1
    for _ in range(255):
        powers.append(value)
        value <<= 1
        if value > 255:
            value ^= 285
    return powers


_EXP = _powers()
_LOG = {value: power for power, value in enumerate(_EXP)}


def _times(a: int, b: int) -> int:
    return _EXP[(_LOG[a] + _LOG[b]) % 255] if a and b else 0


def _finders(matrix: Matrix, size: int) -> None:
    """Three finder patterns, their white edge, and the timing patterns."""
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        for i in range(-1, 8):
            for j in range(-1, 8):
                if not (0 <= top + i < size and 0 <= left + j < size):
                    continue
                ring = max(abs(i - 3), abs(j - 3))
                if matrix[top + i][left + j] != (ring in (0, 1, 3)):
                    raise Unreadable(f"no finder pattern at {top}, {left}")
    for n in range(8, size - 8):
        if matrix[6][n] != (n % 2 == 0) or matrix[n][6] != (n % 2 == 0):
            raise Unreadable("no timing pattern")


def _format(matrix: Matrix) -> tuple[str, int]:
    """Level and mask out of the format information beside the upper left finder, proved by its BCH code."""
    places = [(8, j) for j in (0, 1, 2, 3, 4, 5, 7, 8)] + [(i, 8) for i in (7, 5, 4, 3, 2, 1, 0)]
    bits = int("".join(str(int(matrix[i][j])) for i, j in places), 2) ^ 0b101010000010010
    rest = bits
    for shift in range(4, -1, -1):
        if rest >> (shift + 10) & 1:
            rest ^= 0b10100110111 << shift
    if rest:
        raise Unreadable("the format information is damaged")
    return LEVELS[bits >> 13], bits >> 10 & 0b111


def _code_words(matrix: Matrix, version: int, mask: int) -> list[int]:
    size = len(matrix)
    taken = _function_modules(version, size)
    bits = []
    column, up = size - 1, True
    while column > 0:
        column -= column == 6
        for n in range(size):
            i = size - 1 - n if up else n
            for j in (column, column - 1):
                if (i, j) not in taken:
                    bits.append(matrix[i][j] != MASKS[mask](i, j))
        column, up = column - 2, not up
    whole = len(bits) - len(bits) % 8
    return [int("".join(str(int(bit)) for bit in bits[n : n + 8]), 2) for n in range(0, whole, 8)]


def _function_modules(version: int, size: int) -> set[tuple[int, int]]:
    """Modules that hold no data: finders with their edge and format, timing, alignment."""
    taken = {(i, j) for i in range(9) for j in range(9)}
    taken |= {(i, j) for i in range(9) for j in range(size - 8, size)}
    taken |= {(i, j) for i in range(size - 8, size) for j in range(9)}
    taken |= {(6, n) for n in range(size)} | {(n, 6) for n in range(size)}
    centres = ALIGNMENT[version]
    for a in centres:
        for b in centres:
            if (a, b) not in {(6, 6), (6, centres[-1]), (centres[-1], 6)}:
                taken |= {(a + i, b + j) for i in range(-2, 3) for j in range(-2, 3)}
    return taken
