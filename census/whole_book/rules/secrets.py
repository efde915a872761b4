"""What never goes out with the book, and what only for who keeps the permits. Each with its reason."""

_SECRET = "a secret: it would open a door, and says nothing of an animal"
_MACHINE = "manners of a machine, not of the book"
_POSITION = "tells exact places of animals in the wild: for the registrar and the permit officer"

# Tables that say how a door is opened.
TABLES: dict[str, str] = {
    "people_personcode": _SECRET,
    "people_codetries": _SECRET,
    "people_enrolmentcode": _SECRET,
    "permits_calendaraddress": _SECRET,
    "names_onlinepause": _MACHINE,
    "people_asked": _MACHINE,
}
# Words in the name of a column that holds, or hashes, what opens a door.
WORDS = ("token", "code_hash", "password", "secret")
COLUMNS: dict[tuple[str, str], str] = {
    ("people_person", "user_id"): "the sign-in is not part of the book",
    ("book_versionstatement", "content"): "papers byte for byte are in a backup; their SHA-256 is here",
}
POSITIONS: dict[tuple[str, str], str] = {
    **{
        ("permits_trip", name): _POSITION
        for name in ("locality", "latitude", "longitude", "uncertainty_m", "note")
    },
    **{("permits_returnrow", name): _POSITION for name in ("values", "told")},
    ("permits_case", "words"): _POSITION,
    ("permits_casenote", "words"): _POSITION,
}


def why_left_out(table: str, column: str, *, positions: bool) -> str:
    """Why a column does not go out; empty when it does. ``positions``: exact places may."""
    if any(word in column for word in WORDS):
        return _SECRET
    known = COLUMNS.get((table, column), "")
    return known or ("" if positions else POSITIONS.get((table, column), ""))
