"""Which release was in use when, and how people name a release."""

from datetime import datetime

from ..models import BackboneRelease, ReleaseAdoption


class UnknownRelease(Exception):
    """No loaded release is called so, or several are; the text lists what there is."""


def release_called(text: str) -> BackboneRelease:
    """The release of this version, or of this name and version, or of this number.

    Raises :class:`UnknownRelease`. One query.
    """
    releases = list(BackboneRelease.objects.order_by("loaded_at", "id"))
    wanted = text.strip().casefold()
    fitting = [one for one in releases if wanted in (str(one).casefold(), one.version.casefold())]
    fitting = fitting or [one for one in releases if wanted in (one.name.casefold(), str(one.pk))]
    if len(fitting) == 1:
        return fitting[0]
    known = "; ".join(f"{one.pk}: {one}" for one in fitting or releases) or "none is loaded"
    problem = "several releases are called so" if fitting else "no loaded release is called so"
    raise UnknownRelease(f"“{text}”: {problem}. Give one of these, by number or in full: {known}.")


def newest_loaded() -> BackboneRelease:
    """The release that was loaded last, in use or not. Raises :class:`UnknownRelease`. One query."""
    release = BackboneRelease.objects.order_by("-loaded_at", "-id").first()
    if release is None:
        raise UnknownRelease("No release is loaded: load one first.")
    return release


def releases_in_use() -> list[BackboneRelease]:
    """Releases that are or were in use, newest first. One query."""
    used = BackboneRelease.objects.filter(adoptions__isnull=False) | BackboneRelease.objects.filter(
        is_current=True
    )
    return list(used.distinct().order_by("-is_current", "-loaded_at", "-id"))


def loaded_releases() -> list[BackboneRelease]:
    """All releases, the one in use first, then the newest. One query."""
    return list(BackboneRelease.objects.order_by("-is_current", "-loaded_at", "-id"))


def adoptions(number: int = 20) -> list[ReleaseAdoption]:
    """The newest adoptions. One query."""
    rows = ReleaseAdoption.objects.select_related("release", "from_release", "by")
    return list(rows.order_by("-at", "-id")[:number])


def left_at(release: BackboneRelease) -> datetime | None:
    """The moment at which the release went out of use for the last time; none while it is in use.

    Raises :class:`UnknownRelease` for one that never was. At most two queries.
    """
    if release.is_current:
        return None
    left = ReleaseAdoption.objects.filter(from_release=release).order_by("-at", "-id").first()
    if left is None:
        raise UnknownRelease(
            f"{release} is loaded and was never in use, so no report was made under its names. "
            f"What it would change: backbone compare {release.pk}"
        )
    return left.at


def release_in_use_at(moment: datetime) -> BackboneRelease | None:
    """The release in use at ``moment``. One query."""
    adoption = (
        ReleaseAdoption.objects.filter(at__lte=moment)
        .select_related("release")
        .order_by("-at", "-id")
        .first()
    )
    return adoption.release if adoption else None
