"""What is loaded of backbones."""

from typing import Any

from django.db.models import Count

from ..models import BackboneRelease

INFO_COLUMNS = (
    "release",
    "version",
    "current",
    "loaded_at",
    "names",
    "synonyms",
    "common_names",
    "cautions",
    "licence",
    "source",
)


def release_rows() -> list[dict[str, Any]]:
    """One row for each release, the current one first. One query."""
    releases = BackboneRelease.objects.annotate(n_cautions=Count("cautions")).order_by(
        "-is_current", "-loaded_at"
    )
    return [
        {
            "release": release.name,
            "version": release.version,
            "current": "yes" if release.is_current else "no",
            "loaded_at": release.loaded_at.isoformat(timespec="seconds"),
            "names": release.n_names,
            "synonyms": release.n_synonyms,
            "common_names": release.n_common_names,
            "cautions": release.n_cautions,
            "licence": release.licence,
            "source": release.source,
        }
        for release in releases
    ]
