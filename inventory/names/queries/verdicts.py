"""Verdicts for typed names, against the current backbone release."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from ..models import BackboneRelease
from ..rules.agree import by_authorship
from ..rules.match import Asked, match
from ..rules.store import NameStore
from ..rules.verdicts import Usage, Verdict
from .store import DatabaseStore, NoBackbone, current_release


def verdicts_for(
    asked: Sequence[Asked], *, held_here: Collection[str] = frozenset()
) -> tuple[BackboneRelease | None, list[Verdict]]:
    """The release that answered, and one verdict for each line, in order.

    A constant number of queries for up to 5,000 different names. Without a backbone every name is
    *not found*, and ``why`` says so.
    """
    release = current_release()
    store: NameStore = DatabaseStore(release) if release else NoBackbone()
    verdicts = match(asked, store, held_here=held_here)
    if release is None:
        verdicts = [replace(verdict, why="no backbone is loaded") for verdict in verdicts]
    return release, verdicts


def known_usage(name: str, authorship: str = "") -> Usage | None:
    """The accepted usage of a name in the current release; none when unknown, or when homonyms remain."""
    release = current_release()
    if release is None:
        return None
    usages = [usage for usage in DatabaseStore(release).named([name]).get(name, ()) if not usage.accepted]
    fitting = by_authorship(authorship, usages)
    return fitting[0] if len(fitting) == 1 else None
