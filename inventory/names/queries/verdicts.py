"""Verdicts for typed names, against the current backbone release."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from ..models import BackboneRelease, Taxon
from ..rules.agree import by_authorship
from ..rules.match import Asked, match
from ..rules.store import NameStore
from ..rules.verdicts import Usage, Verdict
from ..store.sqlite import StoreMissing
from .nearness import with_nearness
from .store import NoBackbone, ReleaseStore, current_release


def verdicts_for(
    asked: Sequence[Asked], *, places: Collection[str] = (), besides: Taxon | None = None
) -> tuple[BackboneRelease | None, list[Verdict]]:
    """The release that answered, and one verdict for each line, in order.

    A constant number of queries for up to 1,000 different names. Without a backbone, or when its
    store is not on this machine, every name is *not found*, and ``why`` says so. Choices come
    ranked: see :mod:`.nearness` for ``places`` and ``besides``.
    """
    release = current_release()
    store, missing = _store(release)
    verdicts = match(asked, store)
    if missing:
        return release, [replace(verdict, why=missing) for verdict in verdicts]
    return release, with_nearness(verdicts, release, places=places, besides=besides)


def _store(release: BackboneRelease | None) -> tuple[NameStore, str]:
    if release is None:
        return NoBackbone(), "no backbone is loaded"
    try:
        return ReleaseStore(release), ""
    except StoreMissing as error:
        return NoBackbone(), str(error)


def usages_of(names: Collection[str], release: BackboneRelease | None) -> Mapping[str, Sequence[Usage]]:
    """Usages by name in a release; none where its store is not on this machine."""
    return _store(release)[0].named(names)


def known_usage(name: str, authorship: str = "") -> Usage | None:
    """The accepted usage of a name in the current release; none when unknown, or when homonyms remain."""
    release = current_release()
    usages = [usage for usage in _store(release)[0].named([name]).get(name, ()) if not usage.accepted]
    fitting = by_authorship(authorship, usages)
    return fitting[0] if len(fitting) == 1 else None
