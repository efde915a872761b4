"""The forms that authorities ask for, and when they want them: each change is a new row, with its author."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Max

from inventory.people.models import Person

from ..models import Authority, ReturnRule, ReturnTemplate, TemplateVersion
from ..rules.due import DueKind, day_of
from ..rules.statements import Chosen, TemplateRefused, parse_columns


@transaction.atomic
def save_template(
    *,
    authority: Authority,
    name: str,
    columns: str,
    by: Person,
    now: datetime,
    coarse_degrees: Decimal | None = None,
    why: str = "",
) -> TemplateVersion:
    """Adds what a template says from now on; one that says so already is left as it is.

    ``columns`` are as they are typed. Raises :class:`~inventory.permits.rules.statements.TemplateRefused`.
    """
    chosen = parse_columns(columns)
    if not name.strip():
        raise TemplateRefused(["A template has a name."])
    if coarse_degrees is not None and not 0 < coarse_degrees <= 1:
        raise TemplateRefused(["The grid is more than 0 and at most 1 degree."])
    template, _ = ReturnTemplate.objects.get_or_create(authority=authority, name=name.strip())
    last = template.versions.order_by("-number").first()
    if last is not None and _says(last) == (list(chosen), coarse_degrees):
        return last
    return TemplateVersion.objects.create(
        template=template,
        number=(template.versions.aggregate(n=Max("number"))["n"] or 0) + 1,
        columns=[list(one) for one in chosen],
        coarse_degrees=coarse_degrees,
        why=why,
        entered_at=now,
        entered_by=by,
    )


def _says(version: TemplateVersion) -> tuple[Sequence[Chosen], Decimal | None]:
    return [Chosen(*one) for one in version.columns], version.coarse_degrees


@transaction.atomic
def set_return_rule(
    *,
    authority: Authority,
    kind: DueKind,
    by: Person,
    now: datetime,
    days: int = 0,
    month_day: str = "",
    source: str = "",
) -> ReturnRule:
    """Says when an authority wants its returns. Raises :class:`ValueError` for a day that is none."""
    if kind is DueKind.EACH_YEAR:
        day_of(2001, month_day)
    return ReturnRule.objects.create(
        authority=authority,
        kind=kind.value,
        days=days if kind is DueKind.AFTER_EXPIRY else 0,
        month_day=month_day if kind is DueKind.EACH_YEAR else "",
        source=source,
        entered_at=now,
        entered_by=by,
    )
