"""The units in which eggs are counted. Pure."""

EGG_CASE = "egg case"
EGG_MASS = "egg mass"


def is_eggs(unit: str) -> bool:
    """Whether a lot in this unit holds eggs and no animals."""
    return unit.startswith("egg")


def unit_of(stage: str) -> str:
    """The unit for what was called "egg mass", "eggs" or "egg case"; egg cases unless a mass is said."""
    return EGG_MASS if "mass" in stage.lower() else EGG_CASE
