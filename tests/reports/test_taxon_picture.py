"""The page of one taxon shows its picture, where it has one."""

import pytest
from django.test import Client

from inventory.people.rules.roles import Role
from tests.change.sample import Sample
from tests.factories import make_person, make_picture

from .conftest import QUARTER

pytestmark = pytest.mark.django_db

ASKED = {**QUARTER, "subject": "Gobius niger"}


def test_the_page_of_a_taxon_has_its_picture_with_its_words_and_who_took_it(
    sample: Sample, reader: Client
) -> None:
    assert "<img" not in reader.get("/reports/taxon", ASKED).content.decode()
    picture = make_picture(sample.taxa["goby"], by=make_person(roles=[Role.CURATOR]))
    page = reader.get("/reports/taxon", ASKED).content.decode()
    assert picture.document is not None
    assert f'<img src="/picture/{picture.document.sha256}.jpg" alt="teal, from the side"' in page
    assert "<figcaption>Picture: Sunniva</figcaption>" in page


def test_the_picture_of_one_taxon_stands_on_the_page_of_no_other(sample: Sample, reader: Client) -> None:
    make_picture(sample.taxa["goby"], by=make_person(roles=[Role.CURATOR]))
    assert (
        "<img" not in reader.get("/reports/taxon", {**QUARTER, "subject": "Labrus mixtus"}).content.decode()
    )
    assert "<img" not in reader.get("/reports/taxa", QUARTER).content.decode()
