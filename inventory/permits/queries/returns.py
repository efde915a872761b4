"""Returns: what one would say now, and what those that were frozen say."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, tzinfo
from decimal import Decimal

from django.db.models import QuerySet

from inventory.book.models import Document
from inventory.people.rules.roles import Role, in_words

from ..models import (
    Permit,
    PermitReturn,
    ReturnFile,
    ReturnRow,
    ReturnRule,
    ReturnTemplate,
    TemplateVersion,
)
from ..rules.collection_records import Record, coarsened
from ..rules.due import Due, DueKind, DueRule, returns_due
from ..rules.return_changes import Was, compare
from ..rules.statements import (
    PLAIN_FORM,
    Chosen,
    Row,
    Values,
    fingerprint,
    values_of,
    with_needed,
    withdrawn_values,
)
from ..who import KEEPS
from .accounts import PermitAccount, account
from .collection_records import CollectionRecords, collection_records
from .reading import PermitRead, read_permit
from .takes import TakeRead


@dataclass(frozen=True, slots=True)
class Asked:
    """Which return: the days of its takes, the day as of which fates are told, the form it takes.

    ``amends``: the version that it follows. ``nil``: it says that nothing was taken.
    """

    starts_on: date
    ends_on: date
    as_of: date
    template: TemplateVersion | None = None
    amends: PermitReturn | None = None
    nil: bool = False


@dataclass(frozen=True, slots=True)
class DraftRow:
    """A take in a return: all that is known, what would be told, and the rows behind it."""

    record: Record
    read: TakeRead
    values: Values
    told: Values


@dataclass(slots=True)
class Draft:
    """A return that is not frozen yet."""

    permit: Permit
    asked: Asked
    read: PermitRead
    found: CollectionRecords
    account: PermitAccount
    rows: list[DraftRow]
    outside: list[TakeRead]
    columns: Sequence[Chosen]
    coarse: Decimal | None
    zone: tzinfo
    before: Mapping[str, ReturnRow] = field(default_factory=dict)
    serial: int = 1
    version: int = 1

    @property
    def hidden(self) -> bool:
        """Some of the animals are being counted by the reader."""
        return self.found.tells_of_hidden or any(line.hidden for line in self.account.lines)

    @property
    def lines(self) -> list[Row]:
        """The rows as they would be told; one that is withdrawn has nothing in its numbers."""
        marks = self._marks()
        lines = []
        for line, (take, row) in enumerate(self.in_order, start=1):
            if row is not None:
                lines.append(Row(line, row.told, marks.get(take, "")))
                continue
            old = self.before[take]
            lines.append(Row(line, withdrawn_values(old.told or old.values), marks[take], withdrawn=True))
        return lines

    @property
    def in_order(self) -> list[tuple[str, DraftRow | None]]:
        """Each take with its row, none for one that is withdrawn: those of the version before come as they
        stood there, so that lines can be held beside each other."""
        rows = {row.record.take: row for row in self.rows}
        return [(take, rows.get(take)) for take in {**dict.fromkeys(self.before), **dict.fromkeys(rows)}]

    @property
    def withdrawn(self) -> list[str]:
        """Takes of the version before that are no longer in it."""
        have = {row.record.take for row in self.rows}
        return [take for take in self.before if take not in have]

    def _marks(self) -> dict[str, str]:
        """What an amended return says beside each row: told cells only, so that none gives a place away."""
        if self.asked.amends is None:
            return {}
        told = {row.record.take: Was(0, row.told, row.read.take.pk, row.read.trip.pk) for row in self.rows}
        shown = {one.code for one in self.columns}
        changes = compare(was_of(self.before.values(), told=True), told, columns=shown)
        return {change.take: change.words[:400] for change in changes}


def was_of(rows: Iterable[ReturnRow], *, told: bool = False) -> dict[str, Was]:
    """Rows of a return as they are compared, by take; those withdrawn were not in it."""
    return {
        row.take: Was(
            row.line, (row.told if told and row.told else row.values), row.take_row_id, row.trip_row_id
        )
        for row in rows
        if not row.withdrawn
    }


def read_draft(
    permit: Permit,
    asked: Asked,
    *,
    zone: tzinfo,
    known_at: datetime | None = None,
    hidden: Collection[int] = (),
) -> Draft:
    """The return that would be frozen now. A constant number of queries."""
    template = asked.template
    coarse = template.coarse_degrees if template else None
    found = collection_records(
        permit, as_of=asked.as_of, zone=zone, coarse=False, known_at=known_at, hidden=hidden
    )
    before: dict[str, ReturnRow] = {}
    serial = version = 1
    if asked.amends is not None:
        before = {row.take: row for row in asked.amends.rows.all() if not row.withdrawn}
        serial, version = asked.amends.serial, asked.amends.version + 1
    else:
        last = PermitReturn.objects.filter(permit=permit).order_by("-serial").first()
        serial = last.serial + 1 if last else 1
    rows, outside = [], []
    for record, read in zip(found.records, found.takes, strict=True):
        if not asked.starts_on <= read.trip.ends_on <= asked.ends_on:
            outside.append(read)
            continue
        told = record if coarse is None else coarsened(record, house=found.house, degrees=coarse)
        rows.append(DraftRow(record, read, values_of(record), values_of(told)))
    chosen = [Chosen(*one) for one in template.columns] if template else PLAIN_FORM
    return Draft(
        permit=permit,
        asked=asked,
        read=read_permit(permit, on=asked.as_of),
        found=found,
        account=account(permit, as_of=asked.as_of, zone=zone, known_at=known_at, hidden=hidden),
        rows=rows,
        outside=outside,
        columns=with_needed(chosen, amended=asked.amends is not None, coarse=coarse is not None),
        coarse=coarse,
        zone=zone,
        before=before,
        serial=serial,
        version=version,
    )


def seen(draft: Draft) -> str:
    """A mark of what a draft says: what is frozen is what was looked at."""
    return fingerprint([], draft.columns, draft.lines)


@dataclass(frozen=True, slots=True)
class Told:
    """Returns that tell of days of the one that is asked for, in their newest versions: that of the very
    same days, in whatever form, and others that share some of them."""

    same: PermitReturn | None = None
    others: Sequence[PermitReturn] = ()


def told_already(permit: Permit, asked: Asked) -> Told:
    """What an authority was told of these days already; nothing of it where one is amended. One query."""
    if asked.amends is not None:
        return Told()
    stands = PermitReturn.objects.select_related("frozen_by").filter(permit=permit, amended_by=None)
    shared = list(stands.filter(starts_on__lte=asked.ends_on, ends_on__gte=asked.starts_on))
    days = (asked.starts_on, asked.ends_on)
    same = next((one for one in shared if (one.starts_on, one.ends_on) == days), None)
    return Told(same, [one for one in shared if one is not same])


def returns_of(permit: Permit) -> list[PermitReturn]:
    """All returns of a permit, the newest first. A constant number of queries."""
    shown = PermitReturn.objects.select_related("frozen_by", "amends", "amended_by", "permit__authority")
    shown = shown.prefetch_related(
        "files__document", "sendings__receipt", "sendings__entered_by", "looks__by"
    )
    return list(shown.filter(permit=permit).order_by("-serial", "-version"))


def templates_of(authority: int) -> QuerySet[ReturnTemplate]:
    """The templates of an authority with their versions."""
    return ReturnTemplate.objects.filter(authority=authority).prefetch_related("versions__entered_by")


def newest_version(template: ReturnTemplate) -> TemplateVersion:
    """What a template says now."""
    return max(template.versions.all(), key=lambda version: version.number)


def due_rules(authorities: Collection[int] | None = None) -> dict[int, DueRule]:
    """When each authority wants its returns, by its id. Two queries."""
    rules = ReturnRule.objects.order_by("id")
    plain = Permit.objects.exclude(authority__return_days=None)
    if authorities is not None:
        rules, plain = rules.filter(authority__in=authorities), plain.filter(authority__in=authorities)
    found = {
        pk: DueRule(DueKind.AFTER_EXPIRY, days=days)
        for pk, days in plain.order_by().values_list("authority_id", "authority__return_days").distinct()
        if days is not None
    }
    for row in rules:
        found[row.authority_id] = DueRule(DueKind(row.kind), row.days, row.month_day)
    return found


def dues_of(read: PermitRead, rule: DueRule | None) -> Sequence[Due]:
    """The returns that a permit asks for, as it stands."""
    version = read.version
    return returns_due(
        valid_from=read.since if read.since != date.min else read.first_valid_from,
        valid_until=version.valid_until,
        own_day=version.return_due_on,
        rule=rule,
    )


def next_asked(permit: Permit, *, today: date) -> Asked:
    """The return that comes next: the first that is due and not made; takes after the end are in the last.

    Seven queries at most.
    """
    read = read_permit(permit, on=today)
    dues = dues_of(read, due_rules([permit.authority_id]).get(permit.authority_id))
    made = {(one.starts_on, one.serial): one for one in PermitReturn.objects.filter(permit=permit)}
    starts = {starts_on for starts_on, _ in made}
    waiting = [due for due in dues if due.starts_on not in starts]
    start = read.since if read.since != date.min else read.first_valid_from
    due = waiting[0] if waiting else Due(start, read.version.valid_until, today)
    ends_on, last_day = due.ends_on, date.min
    if not waiting or len(waiting) == 1:
        last = permit.takes.filter(replaced_by=None).order_by("-trip__ends_on").first()
        last_day = last.trip.ends_on if last else last_day
        ends_on = max(ends_on, last_day)
    # Of a day that is over: today can still bring a death, and the return would have changed by the evening.
    as_of = max(today - timedelta(days=1), due.starts_on, last_day)
    return Asked(due.starts_on, max(due.starts_on, ends_on), as_of)


def told_rows(one: PermitReturn) -> list[Row]:
    """The rows of a frozen return as they stand in its files."""
    return [Row(row.line, row.told or row.values, row.mark, row.withdrawn) for row in one.rows.all()]


def stands_as_frozen(one: PermitReturn) -> bool:
    """True while the rows kept here are those whose fingerprint was taken."""
    columns = [Chosen(*column) for column in one.columns]
    head = [(heading, words) for heading, words in one.head]
    return fingerprint(head, columns, told_rows(one)) == one.fingerprint


def why_withheld(document: Document, roles: Collection[Role]) -> str:
    """Files of a return that tells exact places are for who keeps the permits."""
    if not set(KEEPS).isdisjoint(roles):
        return ""
    exact = ReturnFile.objects.filter(document=document, of_return__coarse_degrees=None, of_return__nil=False)
    if not exact.exists():
        return ""
    return f"This return tells exact places. It is for the role {in_words(KEEPS, joined='or')}."
