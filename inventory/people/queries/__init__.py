"""What is asked about people and their devices."""

from .signed_in import AnyUser, NotAPersonError, has_left, person_of, roles_of, the_house

__all__ = ["AnyUser", "NotAPersonError", "has_left", "person_of", "roles_of", "the_house"]
