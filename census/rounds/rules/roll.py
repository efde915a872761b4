"""From each tank's count moment to the end of the period."""


def roll(count: int, *, book_at_count: int, book_at_end: int) -> int:
    """The closing that a count supports: count + events from its moment to the period's end.

    The events are the change of the book between the two moments; a tank counted after the end
    gets them with the opposite sign, which the same subtraction does.
    """
    return count + (book_at_end - book_at_count)
