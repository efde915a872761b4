"""Is the house able to take an entry and keep it?"""

from django.db import DatabaseError, connection

from inventory.db import triggers


def what_is_wrong() -> list[str]:
    """One line for each thing that is wrong: the database is silent, or a trigger is not there."""
    try:
        return [f"trigger {name} is missing" for name in triggers.missing(connection)]
    except DatabaseError as error:
        return [f"the database does not answer: {type(error).__name__}"]
