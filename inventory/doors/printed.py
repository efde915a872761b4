"""What printed papers share: text in the letters of the standard fonts."""

import unicodedata


def printable(text: str) -> str:
    """``text`` in the letters of PDF's standard fonts (Windows-1252): others lose their marks, or are "?"."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return "".join(_letter(letter) for letter in text)
    return text


def _letter(letter: str) -> str:
    try:
        letter.encode("cp1252")
    except UnicodeEncodeError:
        plain = "".join(c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
        return plain.encode("cp1252", "replace").decode("cp1252")
    return letter
