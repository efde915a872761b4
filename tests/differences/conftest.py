from tests.rounds.conftest import house

__all__ = ["house"]
