"""The tree of places: a parent exists, and nobody stands inside itself."""

from collections.abc import Iterable, Mapping


def circle_from(code: str, parents: Mapping[str, str]) -> list[str]:
    """The way from ``code`` back to itself by its parents, or an empty list when there is none.

    ``parents`` gives each place's parent, ``""`` for none. A circle further up, without ``code``
    in it, is told for the places that stand in it.
    """
    way = [code]
    seen = {code}
    above = parents.get(code, "")
    while above and above not in seen:
        way.append(above)
        seen.add(above)
        above = parents.get(above, "")
    return [*way, code] if above == code else []


def with_descendants(tops: Iterable[int], parents: Mapping[int, int | None]) -> frozenset[int]:
    """``tops`` and every place below one of them; ``parents`` gives each place's parent."""
    inside = set(tops)
    waiting = {place for place in parents if place not in inside}
    while added := {place for place in waiting if parents[place] in inside}:
        inside |= added
        waiting -= added
    return frozenset(inside)
