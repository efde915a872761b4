"""What is printed in italics: genus and species (ICZN, 4th edition, appendix B, 6, from memory)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.names.rules.italics import Italics, italic_part
from inventory.names.templatetags.name_words import named, scientific

NAMES = ("Clupea harengus", "Raja (Raja) clavata", "Henricia sp.", "Echinodermata", "dogfish", "Raja clavata")
words = st.lists(st.sampled_from([*NAMES, "Nursery tank", "died in", "E02", "<b>", "Clupea"]), max_size=6)


@pytest.mark.parametrize(
    ("name", "slanted"),
    [
        ("Clupea harengus", "Clupea harengus"),
        ("Gadus morhua callarias", "Gadus morhua callarias"),
        ("Raja (Raja) clavata", "Raja (Raja) clavata"),
        ("Henricia cf. oculata", "Henricia cf. oculata"),
        ("Henricia sp.", "Henricia"),
        ("Echinodermata", ""),
        ("dogfish", ""),
        ("young cushion stars under 5 mm", ""),
    ],
)
def test_genus_and_species_are_in_italics_and_nothing_else_is(name: str, slanted: str) -> None:
    assert italic_part(name) == slanted


def test_a_sentence_is_slanted_where_a_name_of_the_page_stands_and_prose_is_never_guessed_at() -> None:
    italics = Italics(["Clupea harengus", "Echinodermata"])
    text = "Nursery tank: Clupea harengus, Raja clavata; Echinodermata; Clupea harengusa"
    assert [piece for piece, slanted in italics.cut(text) if slanted] == ["Clupea harengus"]


@given(names=st.lists(st.sampled_from(NAMES)), text=words.map(" ".join))
def test_a_sentence_keeps_its_letters_and_what_is_slanted_is_a_name_that_was_told(
    names: list[str], text: str
) -> None:
    pieces = Italics(names).cut(text)
    assert "".join(piece for piece, _ in pieces) == text
    assert {piece for piece, slanted in pieces if slanted} <= {italic_part(name) for name in names}
    if "Clupea harengus" in names:
        assert sum(piece == "Clupea harengus" for piece, _ in pieces) == text.count("Clupea harengus")


def test_on_a_page_names_are_marked_days_and_codes_stay_whole_and_what_was_written_is_escaped() -> None:
    italics = Italics(["Clupea harengus"])
    assert named("<Clupea harengus> CS-26Q3-01 on 2026-10-05, 12-13", italics) == (
        '&lt;<i class="name">Clupea harengus</i>&gt; <span class="day">CS-26Q3-01</span> on'
        ' <span class="day">2026-10-05</span>, 12-13'
    )
    assert named("Clupea harengus", None) == "Clupea harengus"
    assert scientific("Henricia sp.") == '<i class="name">Henricia</i> sp.'
    assert scientific("<dogfish>") == "&lt;dogfish&gt;"
