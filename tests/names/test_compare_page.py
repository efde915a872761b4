"""The page of backbone releases."""

from dataclasses import replace
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.book.models import Lot
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, ReleaseAdoption, Taxon
from inventory.names.queries.store import current_release
from inventory.people.rules.roles import Role
from tests.factories import NOW, make_event, make_lot, make_person

from .releases import Name, load_names

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
ZETA, ALPHA, BETA = Name("Zeta una"), Name("Alpha una", "(T, 1900)"), Name("Beta una", "(T, 1900)")
OLD, RENAMED = Name("Gobiusculus flavescens"), Name("Pomatoschistus flavescens", "(Tester, 1900)")


def signed_in(*roles: Role) -> Client:
    client = Client()
    person = make_person(f"Somebody {'-'.join(roles)}", roles=[role.value for role in roles], signs_in=True)
    assert person.user is not None
    client.force_login(person.user)
    return client


@pytest.fixture
def lot() -> Lot:
    """A lot of the name that is split."""
    return Lot.objects.get(taxon__scientific_name="Zeta una")


@pytest.fixture(autouse=True)
def release(tmp_path: Path) -> BackboneRelease:
    """A loaded release that renames one name in use and splits another."""
    load_names(tmp_path, "2025", ZETA, OLD)
    for taxon in taxa_for([ZETA.name, OLD.name], now=NOW).values():
        make_event(lot=make_lot(taxon=taxon), unknown=7, permit_number="HISFB 1/24")
    return load_names(
        tmp_path,
        "2026",
        ALPHA,
        BETA,
        RENAMED,
        replace(OLD, of=RENAMED.name, of_author=RENAMED.author),
        replace(ZETA, of=ALPHA.name, of_author=ALPHA.author),
        replace(ZETA, of=BETA.name, of_author=BETA.author, author="Tester,  1900"),
    )


def test_anybody_who_signs_in_sees_releases_and_what_one_would_change(release: BackboneRelease) -> None:
    reader = signed_in(Role.AQUARIST)
    text = reader.get(reverse("backbone")).content.decode()
    assert "Small backbone 2025" in text
    assert f"?release={release.pk}" in text
    preview = reader.get(reverse("backbone"), {"release": release.pk}).content.decode()
    for shown in ("Moved to another genus", "Pomatoschistus flavescens", "Split: leads", "HISFB 1/24"):
        assert shown in preview
    assert "Take Small backbone 2026 into use" not in preview
    assert "The registrar or the curator takes a release into use" in preview
    assert reader.post(reverse("backbone_adopt", args=[release.pk])).status_code == 403
    assert current_release() != release


@pytest.mark.parametrize("role", [Role.REGISTRAR, Role.CURATOR])
def test_registrar_or_curator_takes_it_with_the_lots_answered(
    role: Role, release: BackboneRelease, lot: Lot
) -> None:
    client = signed_in(role)
    current = current_release()
    assert current is not None
    preview = client.get(reverse("backbone"), {"release": release.pk}).content.decode()
    assert f'name="lot:{lot.accession}"' in preview
    answer = client.post(
        reverse("backbone_adopt", args=[release.pk]),
        {"against": current.pk, f"lot:{lot.accession}": BETA.name},
        follow=True,
    )
    text = answer.content.decode()
    assert "Small backbone 2026 is in use now: 1 names followed, 1 were asked, 1 lots moved" in text
    assert "1 split, 1 moved genus" in text or "1 moved genus, 1 split" in text
    lot.refresh_from_db()
    assert (lot.taxon.scientific_name, lot.held) == (BETA.name, 7)
    assert Taxon.objects.filter(scientific_name=RENAMED.name).exists()


def test_a_second_adoption_and_a_preview_that_is_out_of_date_are_refused_clearly(
    release: BackboneRelease,
) -> None:
    client = signed_in(Role.REGISTRAR)
    url = reverse("backbone_adopt", args=[release.pk])
    late = client.post(url, {"against": release.pk})
    assert late.status_code == 400
    assert "has come into use since this was looked at" in late.content.decode()
    client.post(url)
    again = client.post(url)
    assert again.status_code == 400
    assert "is in use already since 2026-10-06, adopted by Somebody registrar" in again.content.decode()
    assert ReleaseAdoption.objects.filter(release=release).count() == 1


def test_the_page_takes_the_same_queries_for_many_changes(release: BackboneRelease, lot: Lot) -> None:
    client = signed_in(Role.REGISTRAR)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(reverse("backbone"), {"release": release.pk})
        return len(captured)

    few = queries()
    for _ in range(5):
        make_event(lot=make_lot(taxon=lot.taxon), unknown=1, permit_number="HISFB 2/24")
    assert queries() == few
