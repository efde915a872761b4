"""Which letters of a name, and of a sentence with names in it, are printed in italics.

Genus and species are; families and above, "sp.", "cf." and what was written in plain words are not (ICZN, 4th
edition, appendix B, 6, from memory).
"""

import re
from collections import defaultdict
from collections.abc import Iterable

_GENUS, _EPITHET = r"[A-Z][a-zë-]+", r"[a-z][a-zë-]+"
_SPECIES = re.compile(rf"{_GENUS}(?: \({_GENUS}\))?(?: (?:cf\.|aff\.))?(?: {_EPITHET}){{1,2}}")
_OF_A_GENUS = re.compile(rf"({_GENUS}) spp?\.")
_WORD = re.compile(rf"\b{_GENUS}")

Cut = list[tuple[str, bool]]
"""Pieces of a text in order, each with whether it is in italics."""


def italic_part(name: str) -> str:
    """How much of a name is in italics, from its beginning. One word alone may be of any rank and stays
    upright."""
    if _SPECIES.fullmatch(name):
        return name
    genus = _OF_A_GENUS.fullmatch(name)
    return genus[1] if genus else ""


class Italics:
    """Finds the scientific names of one page in its sentences. Prose is never guessed at: only names that it
    is told of are slanted."""

    def __init__(self, names: Iterable[str]) -> None:
        # By the first word, the longest first: a page has hundreds of names, and a sentence two or three.
        self._of_genus: defaultdict[str, list[str]] = defaultdict(list)
        for name in sorted(set(filter(None, map(italic_part, names))), key=len, reverse=True):
            self._of_genus[name.partition(" ")[0]].append(name)

    def cut(self, text: str) -> Cut:
        """The text as pieces."""
        pieces, at = [], 0
        for word in _WORD.finditer(text):
            name = self._at(text, word) if word.start() >= at else ""
            if name:
                pieces += [(text[at : word.start()], False), (name, True)]
                at = word.start() + len(name)
        return [piece for piece in (*pieces, (text[at:], False)) if piece[0]]

    def _at(self, text: str, word: re.Match[str]) -> str:
        """The name that begins with a word of the text; no part of a longer word is one."""
        for name in self._of_genus.get(word[0], ()):
            end = word.start() + len(name)
            if text.startswith(name, word.start()) and not text[end : end + 1].isalnum():
                return name
        return ""
