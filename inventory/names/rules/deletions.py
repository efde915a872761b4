"""Words with one letter left out, as numbers: two words within one edit always share one.

The single-deletion index (known from the spelling checker SymSpell, W. Garbe 2012, cited from
memory). Let ``a`` and ``b`` be within one edit, counting a swap of neighbours as one. If they are
equal they share themselves. If a letter of ``a`` is missing in ``b``, then ``b`` is ``a`` with that
letter left out. If a letter differs, leaving it out of both gives the same. If neighbours ``xy``
are swapped, leaving ``x`` out of both leaves ``y``. So the sets of :func:`deletion_keys` of both
have an element in common; what else shares one (two edits, or a chance collision of the numbers)
is measured and thrown out afterwards.
"""

from zlib import crc32

# CRC-32 is even enough for this, the same everywhere, and the quickest there is in the library.
_HALF = 1 << 31
LETTERS = "abcdefghijklmnopqrstuvwxyz-"


def is_word(word: str) -> bool:
    """True for what a person could misspell: letters, perhaps with hyphens; no codes such as BOLD:AAA1."""
    return word.isalpha() or (len(word) > 1 and word.replace("-", "").isalpha())


def deletion_keys(word: str) -> set[int]:
    """32-bit signed numbers of the word and of the word with each one letter left out; case ignored."""
    low = word.casefold()
    if low.isascii():
        raw = low.encode()
        keys = {crc32(raw[:at] + raw[at + 1 :]) - _HALF for at in range(len(raw))}
        keys.add(crc32(raw) - _HALF)
        return keys
    return {_key(low), *(_key(low[:at] + low[at + 1 :]) for at in range(len(low)))}


def keys_two_edits(word: str, *, longer: bool = False) -> set[int]:
    """Numbers that any word within two edits shares at least one of; with ``longer`` any longer word.

    One of the two edits is made here in all ways that :data:`LETTERS` allow, the other is left to the
    single-deletion index. Complete for words of which at most one edit needs another letter.
    Some 3,000 numbers for a word of ten letters.
    """
    keys: set[int] = set()
    for once in _one_letter_more(word.casefold()) if longer else _one_edit(word.casefold()):
        keys |= deletion_keys(once)
    return keys


def _one_letter_more(word: str) -> set[str]:
    """One of the two edits to a longer word is a letter that is missing here."""
    return {word[:at] + letter + word[at:] for at in range(len(word) + 1) for letter in LETTERS}


def _one_edit(word: str) -> set[str]:
    found = {word}
    for at in range(len(word) + 1):
        start, rest = word[:at], word[at:]
        found.add(start + rest[1:])
        found.update(start + letter + rest for letter in LETTERS)
        found.update(start + letter + rest[1:] for letter in LETTERS if rest)
        if len(rest) > 1:
            found.add(start + rest[1] + rest[0] + rest[2:])
    return found


def _key(word: str) -> int:
    return crc32(word.encode("utf-8", "replace")) - _HALF
