"""What came from outside is kept by every database, and what every database keeps is left as it came."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.doors.storable import storable

signs = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"))
plain = st.recursive(
    st.none() | st.booleans() | st.integers() | signs,
    lambda inner: st.lists(inner) | st.dictionaries(signs, inner),
)


@given(plain)
def test_what_every_database_keeps_is_left_as_it_came(value: object) -> None:
    assert storable(value) == value


@given(st.text() | st.text("\\u0d8\x00\ud83d\udc1f\ud800\udfff"))
def test_no_null_and_no_half_of_a_pair_is_left_in_names_or_values(text: str) -> None:
    (name, value), *_ = storable({text: [text]}).items()
    assert value == [name]
    assert "\x00" not in name
    name.encode()


@pytest.mark.parametrize(
    ("came", "kept"),
    [
        ("pa\ud800s", "pa\ufffds"),
        ("\udc1f\ud83d", "\ufffd\ufffd"),
        ("\U0001f41f and \ud83d", "\U0001f41f and \ufffd"),
        ("a\x00b", "ab"),
        ("\\u0000 and \\ud800 typed", "\\u0000 and \\ud800 typed"),
    ],
)
def test_half_a_pair_is_a_sign_that_stands_for_none(came: str, kept: str) -> None:
    assert storable({came: came}) == {kept: kept}
