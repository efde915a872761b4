"""Whose animals can be where: what is told to the computation of source shares, and what it answers.

A box is the smallest thing that holds animals which the book tells apart: a lot in one place, of one
sex, stage and standing, or a fate (died, sent on). Boxes, sources and places are any hashable values.
"""

from collections.abc import Hashable
from typing import NamedTuple

Box = Hashable
Source = Hashable
Place = Hashable


class Step(NamedTuple):
    """``n`` animals go from one box to another; ``from_box`` None: they arrive.

    Of an arrival ``source`` says where from. Of any other step it is what evidence says: all ``n`` are
    of this source; None, as of most steps: nobody knows whose they are.
    """

    from_box: Box | None
    to_box: Box
    n: int
    source: Source | None = None


class Seen(NamedTuple):
    """Evidence that at this moment at least ``n`` animals of a box are of ``source``: a mark, a picture.

    It says nothing about which of them are seen again later; who follows one animal gives it a lot.
    """

    box: Box
    n: int
    source: Source


class Bounds(NamedTuple):
    """How many animals of some sources are in some places: the least and the most that the book allows,
    and the even share, which is expected when every animal of a box is as likely to go as any other.

    ``even`` is None where evidence leaves no share that could be called even.
    """

    least: int
    most: int
    even: float | None

    @property
    def sure(self) -> bool:
        """The book leaves one answer."""
        return self.least == self.most


class _NotOnTheBooks:
    """The source of what the book says was there though it never came: balances that end below zero."""

    def __repr__(self) -> str:
        return "source not on the books"


NOT_ON_THE_BOOKS = _NotOnTheBooks()
