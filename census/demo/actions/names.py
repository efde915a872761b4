"""What the registrar decided about doubtful names in the two years; the rest still waits."""

from datetime import datetime, time, tzinfo

from inventory.names.actions.review import review
from inventory.names.models import DecisionKind, NameCheck
from inventory.people.models import Person

from ..rules.fixtures import read_rows
from .people import REGISTRAR

AT = time(10, 30)


def decide_names(*, zone: tzinfo) -> int:
    """Takes the decisions that are written down, each on its day; answers how many."""
    registrar = Person.objects.get(name=REGISTRAR)
    decided = [row for row in read_rows("names_to_review.csv") if row["decision"]]
    waiting = {check.typed: check.pk for check in NameCheck.objects.all()}
    for row in decided:
        review(
            waiting[row["name"]],
            kind=DecisionKind(row["decision"]),
            by=registrar,
            now=datetime.combine(datetime.fromisoformat(row["decided_on"]), AT, zone),
            name=row["new_name"],
            why=row["why"],
        )
    return len(decided)
