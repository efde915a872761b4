"""Reading a typed line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.names.rules.parse import LONGEST_NAME, clean, common_key, parse, storable


@pytest.mark.parametrize(
    ("typed", "canonical", "qualifier", "leaves_open"),
    [
        ("Henricia sp.", "Henricia", "sp.", True),
        ("Henricia spp", "Henricia", "spp", True),
        ("Henricia sp. nov.", "Henricia", "sp. nov.", True),
        ("Henricia sp. A", "Henricia", "sp. A", True),
        ("Gobiidae indet.", "Gobiidae", "indet.", True),
        ("Urticina cf. felina", "Urticina felina", "cf.", False),
        ("cf. Urticina felina", "Urticina felina", "cf.", False),
        ("Urticina aff. felina (Linnaeus, 1761)", "Urticina felina", "aff.", False),
        ("Urticina felina?", "Urticina felina", "?", False),
        ("Aurelia aurita s.l.", "Aurelia aurita", "s.l.", False),
        ("Aeolidia papillosa agg.", "Aeolidia papillosa", "agg.", False),
    ],
)
def test_a_qualifier_goes_into_its_own_field(
    typed: str, canonical: str, qualifier: str, leaves_open: bool
) -> None:
    parsed = parse(typed)
    assert parsed.readings[0].canonical == canonical
    assert (parsed.qualifier, parsed.leaves_species_open) == (qualifier, leaves_open)


@pytest.mark.parametrize(
    ("typed", "canonical", "note"),
    [
        ("GADUS MORHUA", "Gadus morhua", "capitals"),
        ("gadus morhua", "Gadus morhua", "without a capital"),
        ("Gadus Morhua", "Gadus morhua", "with a capital"),
        ("  Gadus\u00a0 morhua ", "Gadus morhua", ""),
        ("Halichondria (Halichondria) panicea (Pallas, 1766)", "Halichondria panicea", ""),
        ("Gadus morhua callarias", "Gadus morhua callarias", ""),
    ],
)
def test_capitals_spaces_and_subgenera_do_not_hide_a_name(typed: str, canonical: str, note: str) -> None:
    reading = parse(typed).readings[0]
    assert reading.canonical == canonical
    assert note in reading.note
    assert bool(note) == bool(reading.note)


def test_a_genus_with_its_author_keeps_that_reading_as_the_second() -> None:
    assert [reading.canonical for reading in parse("Gadus Linnaeus").readings] == ["Gadus linnaeus", "Gadus"]


@pytest.mark.parametrize(
    ("typed", "parents"),
    [
        ("Raja clavata \u00d7 Raja montagui", ["Raja clavata", "Raja montagui"]),
        ("Raja clavata x montagui", ["Raja clavata", "Raja montagui"]),
        ("Raja \u00d7clavata", ["Raja clavata"]),
        ("Raja clavata hybrid", ["Raja clavata"]),
        ("\u00d7", []),
    ],
)
def test_a_hybrid_is_seen_with_its_parents(typed: str, parents: list[str]) -> None:
    parsed = parse(typed)
    assert parsed.is_hybrid
    assert [part.text for part in parsed.parts] == parents


def test_words_about_the_animal_are_set_aside() -> None:
    parsed = parse("Asterias rubens juv.")
    assert (parsed.readings[0].canonical, parsed.about_animal) == ("Asterias rubens", "juv.")


@pytest.mark.parametrize("typed", ["", "   ", "\t", "\u200b", "\x00"])
def test_a_line_without_a_sign_is_empty(typed: str) -> None:
    assert parse(typed).trouble == "the line is empty"


def test_a_line_longer_than_any_name_is_not_read() -> None:
    assert "longer" in parse("Gadus " + "m" * LONGEST_NAME).trouble


@given(st.text(st.characters(), max_size=400))
def test_reading_never_raises_and_what_comes_out_can_be_stored(typed: str) -> None:
    parsed = parse(typed)
    assert parsed.typed == typed
    for text in (parsed.text, parsed.key, storable(typed), *(r.canonical for r in parsed.readings)):
        assert "\x00" not in text
        text.encode("utf-8")
    assert clean(parsed.text) == parsed.text


@given(st.text(st.characters(codec="utf-8", exclude_characters="\x00")))
def test_what_was_typed_is_stored_as_typed(typed: str) -> None:
    assert storable(typed) == typed


@pytest.mark.parametrize("typed", ["dogfish", "Dog-fish", "DOG FISH", "dog\u2019fish"])
def test_common_names_are_looked_up_by_their_letters(typed: str) -> None:
    assert common_key(typed) == "dogfish"
