"""What is written about people and their devices."""

from .set_up import NotSetUp, set_up_house, set_up_person

__all__ = ["NotSetUp", "set_up_house", "set_up_person"]
