"""Reads a typed line as a name: what is the name, what is its qualifier, what else stands there.

The grammar of scientific names is left to gbif-name-parser (module ``nameparser``). Around it
stand guards for what people type: capitals first (the parser takes "Pisaster Ochraceus" for a
genus with an author and "hairy triton" for a good name, both without a warning), open
nomenclature into a field of its own (Sigovini, Keppel and Tagliapietra 2016, "Open Nomenclature
in the biodiversity era", list the signs; which of them are read here is written from memory),
hybrids, several names on one line. Whatever a line holds, reading it never raises.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

import nameparser

LONGEST_NAME = 250
TIMES = "\N{MULTIPLICATION SIGN}"

# Signs that leave the species open: what stands before them is the genus or a higher name.
_OPEN = {"sp", "sp.", "spp", "spp.", "indet", "indet.", "spec.", "species"}
# Signs between or beside the words of a name: the name stands, with doubt.
_DOUBT = {"cf", "cf.", "aff", "aff.", "nr", "nr.", "?"}
# Signs after a name that widen or narrow it, up to the end of the line.
_WIDE = {"agg", "agg.", "gr.", "group", "complex", "s.l.", "s.s.", "s.str.", "s.lat.", "sensu"}
# Words about the animal, not about the name.
_ANIMAL = {
    "juv", "juv.", "juvenile", "juveniles", "young", "larva", "larvae", "eggs", "adult", "adults",
    "male", "males", "female", "females", "♂", "♀",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read the words as a scientific name.

    ``genus`` holds the only word of a one-word name, of whatever rank. ``note`` says what was
    changed to read it so (capitals), blank when nothing was.
    """

    genus: str
    species: str = ""
    infraspecies: str = ""
    authorship: str = ""
    note: str = ""

    @property
    def canonical(self) -> str:
        """The name without authorship and subgenus."""
        return " ".join(word for word in (self.genus, self.species, self.infraspecies) if word)

    @property
    def genus_is_abbreviated(self) -> bool:
        """True for "G. morhua"."""
        return self.genus.endswith(".") and bool(self.species)


@dataclass(frozen=True, slots=True)
class Parsed:
    """A typed line taken apart.

    ``readings`` are tried in order; ``parts`` holds the lines of a hybrid or of several names on
    one line; ``key`` is what common names are looked up by.
    """

    typed: str
    text: str
    key: str
    readings: tuple[Reading, ...] = ()
    qualifier: str = ""
    leaves_species_open: bool = False
    is_hybrid: bool = False
    parts: tuple["Parsed", ...] = ()
    starts_small: bool = False
    about_animal: str = ""
    trouble: str = ""


@lru_cache(maxsize=4096)
def parse(typed: str) -> Parsed:
    """Reads one line. Never raises."""
    text = clean(typed)
    key = common_key(text)
    if not text:
        return Parsed(typed, text, key, trouble="the line is empty")
    if len(text) > LONGEST_NAME:
        return Parsed(typed, text, "", trouble=f"longer than {LONGEST_NAME} characters: no name is")
    small = text[0].islower()
    hybrid = _hybrid_parts(text)
    if hybrid is not None:
        return Parsed(typed, text, key, is_hybrid=True, parts=hybrid, starts_small=small)
    several = _several(text)
    if several:
        return Parsed(typed, text, key, parts=several, starts_small=small)
    words, qualifier, is_open = _take_qualifier(text.split(" "))
    words, about = _take_animal_words(words)
    readings, trouble = _read(words)
    return Parsed(
        typed=typed,
        text=text,
        key=key,
        readings=readings,
        qualifier=qualifier,
        leaves_species_open=is_open,
        starts_small=small,
        about_animal=about,
        trouble=trouble,
    )


def clean(text: str) -> str:
    """One line, composed accents, single spaces, nothing that a database cannot hold."""
    text = unicodedata.normalize("NFC", text)
    kept = (" " if unicodedata.category(sign) in ("Cc", "Zs", "Zl", "Zp") else sign for sign in text)
    kept = (sign for sign in kept if unicodedata.category(sign) not in ("Cf", "Cs", "Co", "Cn"))
    return " ".join("".join(kept).replace("_", " ").split())


def common_key(text: str) -> str:
    """Letters and digits only, lower case, accents dropped: "Dog-fish" and "dogfish" are one."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in plain if sign.isalnum())[:200]


def _hybrid_parts(text: str) -> tuple[Parsed, ...] | None:
    """The parents of a hybrid, where they are named; none when the line is no hybrid."""
    words = text.split(" ")
    marks = [
        index
        for index, word in enumerate(words)
        if TIMES in word or (word in ("x", "X") and 0 < index < len(words) - 1)
    ]
    if not marks:
        if words[-1].casefold() in ("hybrid", "hybrids") and len(words) > 1:
            return _whole(" ".join(words[:-1]))
        return None
    sides = re.split(rf"{TIMES}|(?<=\s)[xX](?=\s)", text)
    left, right = sides[0].strip(), " ".join(sides[1:]).strip()
    genus = left.split(" ")[0]
    if len(left.split(" ")) < 2 or not right:
        # The sign before an epithet: a hybrid's own name, without parents.
        return _whole(f"{left} {right}")
    if right[0].islower() and genus[0].isupper():
        right = f"{genus} {right}"
    return (parse(left), parse(right))


def _whole(text: str) -> tuple[Parsed, ...]:
    inner = clean(text)
    return (parse(inner),) if inner else ()


def _several(text: str) -> tuple[Parsed, ...]:
    """ "Raja clavata/montagui", "Actinia equina or fragacea": each name on the line."""
    pieces = [piece.strip() for piece in re.split(r"\s*/\s*|\s+or\s+", text) if piece.strip()]
    if len(pieces) < 2 or not pieces[0][0].isupper():
        return ()
    genus = pieces[0].split(" ")[0]
    filled = [piece if piece[0].isupper() else f"{genus} {piece}" for piece in pieces]
    return tuple(parse(piece) for piece in filled if piece != text)


def _take_qualifier(words: list[str]) -> tuple[list[str], str, bool]:
    """Words without the qualifier; the qualifier as typed; whether it leaves the species open."""
    for index, word in enumerate(words):
        low = word.casefold()
        if low in _OPEN and index > 0:
            return words[:index], " ".join(words[index:]), True
        if low in _WIDE and index > 0:
            return words[:index], " ".join(words[index:]), False
        if low in _DOUBT:
            return words[:index] + words[index + 1 :], word, False
        if index > 0 and low.endswith("?") and len(low) > 1:
            return [*words[:index], word.rstrip("?"), *words[index + 1 :]], "?", False
        if low.startswith("?") and len(low) > 1:
            return [*words[:index], word.lstrip("?"), *words[index + 1 :]], "?", False
    return words, "", False


def _take_animal_words(words: list[str]) -> tuple[list[str], str]:
    kept = list(words)
    taken: list[str] = []
    while len(kept) > 1 and kept[-1].casefold() in _ANIMAL:
        taken.insert(0, kept.pop())
    return kept, " ".join(taken)


def _read(words: list[str]) -> tuple[tuple[Reading, ...], str]:
    text = " ".join(word for word in words if word)
    if not text:
        return (), "nothing but a qualifier stands there"
    readings: list[Reading] = []
    if text.isupper() and len(text) > 1:
        readings += _parser(text.capitalize(), "typed in capitals")
    elif text[0].islower():
        readings += _parser(text[0].upper() + text[1:], "typed without a capital")
    elif _has_capital_epithet(words):
        lowered = " ".join([words[0], words[1].lower(), *words[2:]])
        readings += _parser(lowered, f'"{words[1]}" typed with a capital')
        readings += _parser(text, "")
    else:
        readings += _parser(text, "")
    return tuple(readings), "" if readings else "it cannot be read as a name"


def _has_capital_epithet(words: list[str]) -> bool:
    """Two words, the second an epithet typed with a capital rather than an author."""
    return len(words) == 2 and words[1][:1].isupper() and words[1].isalpha() and len(words[1]) > 2


def _parser(text: str, note: str) -> list[Reading]:
    try:
        found = nameparser.parse(text)
    except nameparser.UnparsableNameError:
        return []
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException:
        # A panic inside the parser arrives as a BaseException; a line must not end the run.
        return []
    if isinstance(found, nameparser.Informal):
        return [Reading(genus=found.taxon, note=note)] if found.taxon else []
    genus = found.genus or found.uninomial or ""
    if not genus or (found.infraspecific_epithet and not found.specific_epithet):
        return []
    return [
        Reading(
            genus=genus,
            species=found.specific_epithet or "",
            infraspecies=found.infraspecific_epithet or "",
            authorship=found.authorship_complete() or "",
            note=note,
        )
    ]


def storable(typed: str) -> str:
    """The line as typed, but for the two signs no database keeps: NUL and half a surrogate pair."""
    return "".join("�" if sign == "\x00" or "\ud800" <= sign <= "\udfff" else sign for sign in typed)
