"""The database itself refuses to change what was typed, decided, or once called."""

from typing import Any

import pytest
from django.db import IntegrityError, models, transaction

from inventory.names.actions.review import review
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, DecisionKind, NameCheck, NameDecision, TaxonName
from tests.factories import NOW, make_person


@pytest.fixture
def decided(backbone: BackboneRelease) -> None:
    taxa_for(["Anarhicas lupus"], now=NOW)
    check = NameCheck.objects.get()
    review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=make_person(), now=NOW)


@pytest.mark.usefixtures("decided")
@pytest.mark.parametrize("model", [NameDecision, TaxonName, NameCheck])
def test_no_row_is_deleted(model: Any) -> None:
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        model.objects.all()._raw_delete(model.objects.db)
    assert model.objects.exists()


@pytest.mark.usefixtures("decided")
@pytest.mark.parametrize(
    ("model", "field"),
    [
        *((NameDecision, field) for field in ("scientific_name", "why", "decided_at", "kind")),
        *((TaxonName, field) for field in ("scientific_name", "since")),
        *((NameCheck, field) for field in ("typed", "verdict", "name", "choices", "qualifier", "asked_at")),
    ],
)
def test_no_row_is_edited(model: type[models.Model], field: str) -> None:
    rows = model._default_manager.all()
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        rows.update(**{field: models.F(field)})
