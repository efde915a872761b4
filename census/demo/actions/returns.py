"""Returns that the house sent in its two years, each read as it was known when it was made."""

from datetime import date, datetime, timedelta, tzinfo
from itertools import groupby

from inventory.people.models import Person
from inventory.permits.actions.return_templates import save_template
from inventory.permits.actions.returns import freeze_return, record_sending
from inventory.permits.files.returns import write_return
from inventory.permits.models import Authority, Permit, PermitReturn
from inventory.permits.queries.returns import Asked, newest_version, templates_of

from ..rules.fixtures import read_rows


def make_returns(*, now: datetime, zone: tzinfo) -> int:
    """Makes the forms of the authorities and the returns; answers how many of these."""
    people = {person.name: person for person in Person.objects.all()}
    rows = read_rows("return_forms.csv")
    for (code, form), of_form in groupby(rows, key=lambda row: (row["authority"], row["form"])):
        columns = list(of_form)
        save_template(
            authority=Authority.objects.get(code=code),
            name=form,
            columns="\n".join(f"{row['column']} = {row['heading']}" for row in columns),
            by=people[columns[0]["entered_by"]],
            now=_moment(columns[0]["entered"], zone),
        )
    returns = read_rows("returns.csv")
    for row in returns:
        _make(row, people[row["frozen_by"]], now=now, zone=zone)
    return len(returns)


def _make(row: dict[str, str], by: Person, *, now: datetime, zone: tzinfo) -> None:
    permit = Permit.objects.select_related("authority").get(number=row["permit"])
    moment = _moment(row["frozen"], zone)
    version = int(row["version"])
    amends = PermitReturn.objects.get(permit=permit, version=version - 1) if version > 1 else None
    template = templates_of(permit.authority_id).get(name=row["form"])
    asked = Asked(
        starts_on=date.fromisoformat(row["starts_on"]),
        ends_on=date.fromisoformat(row["ends_on"]),
        as_of=amends.as_of if amends else moment.date() - timedelta(days=1),
        template=newest_version(template),
        amends=amends,
    )
    made = freeze_return(
        permit=permit,
        asked=asked,
        write=write_return,
        by=by,
        now=now,
        zone=zone,
        explained=row["explained"],
        remark=row["remark"],
        entered_at=moment,
    )
    record_sending(
        of_return=made,
        sent_on=date.fromisoformat(row["sent_on"]),
        how=row["how"],
        to=row["to"],
        note=row["note"],
        by=by,
        now=now,
        zone=zone,
        entered_at=moment,
    )


def _moment(text: str, zone: tzinfo) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone)
