import pytest

from .house import TestHouse, make_test_house


@pytest.fixture
def house(db: None) -> TestHouse:
    """A house with its stock on the book, and nobody counting yet."""
    return make_test_house()
