"""How the house asks an online service: read from the settings, checked, said in words."""

import math
from dataclasses import dataclass

from django.conf import settings

from ..queries.online import checklist


class SettingError(ValueError):
    """A setting that cannot be used; the text names it and says what was expected."""


@dataclass(frozen=True, slots=True)
class Manners:
    """``timeout``: seconds to wait for each piece of an answer; ``between``: seconds between two
    requests; ``tries``: requests for one name at most; ``cache_days``: how long an answer is fresh."""

    is_on: bool
    checklist: str
    timeout: float
    tries: int
    between: float
    cache_days: float


def manners() -> Manners:
    """The manners that are set. Raises :class:`SettingError`."""
    stated: dict[str, str] = settings.GBIF
    switch = stated["TIDETALLY_GBIF"].strip().lower()
    if switch not in ("on", "off"):
        raise SettingError(f"TIDETALLY_GBIF: expected on or off, found “{switch}”.")
    tries = _number("TIDETALLY_GBIF_TRIES", least=1, most=10)
    if tries != int(tries):
        raise SettingError(f"TIDETALLY_GBIF_TRIES: expected a whole number, found {tries:g}.")
    return Manners(
        is_on=switch == "on",
        checklist=checklist(),
        timeout=_number("TIDETALLY_GBIF_TIMEOUT", least=0.5, most=120),
        tries=int(tries),
        between=_number("TIDETALLY_GBIF_BETWEEN", least=0.2, most=3600),
        cache_days=_number("TIDETALLY_GBIF_CACHE_DAYS", least=0, most=3650),
    )


def _number(name: str, *, least: float, most: float) -> float:
    stated: dict[str, str] = settings.GBIF
    try:
        number = float(stated[name])
    except ValueError:
        number = math.nan
    if not least <= number <= most:
        raise SettingError(f"{name}: expected a number from {least:g} to {most:g}, found “{stated[name]}”.")
    return number
