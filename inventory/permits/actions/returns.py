"""Freezes a return as it is sent, notes that it went out, and that somebody looked at what changed since."""

from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import date, datetime, tzinfo

from django.db import transaction

from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.book.models import Document
from inventory.db.locks import serialize_writers
from inventory.people.models import Person

from ..models import (
    CorrectionApproval,
    Permit,
    PermitReturn,
    ReturnFile,
    ReturnLook,
    ReturnRow,
    ReturnSending,
    Take,
    Trip,
)
from ..queries.return_checks import findings
from ..queries.return_statement import statement_of
from ..queries.returns import Asked, Draft, next_asked, read_draft, seen, told_already
from ..rules.return_checks import Finding
from ..rules.statements import Statement, withdrawn_values

# Writes a statement in one of the forms, by the form's ending.
Write = Callable[[Statement, str], bytes]
FORMS = ("csv", "xlsx", "pdf")


class ReturnRefused(Exception):
    """What cannot be frozen or noted so; ``column`` says where, the message what to do."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column


@transaction.atomic
def freeze_return(
    *,
    permit: Permit,
    asked: Asked,
    write: Write,
    by: Person,
    now: datetime,
    zone: tzinfo,
    explained: str = "",
    remark: str = "",
    looked_at: str = "",
    hidden: Collection[int] = (),
    entered_at: datetime | None = None,
) -> PermitReturn:
    """Freezes what is known of the permit, with its files, and answers the return.

    ``looked_at`` is the mark of the draft that the person saw: when it says something else by now it is
    looked at again. ``entered_at`` is given by who copies an older return: it is read as known then.
    Raises :class:`ReturnRefused`.
    """
    serialize_writers()
    moment = entered_at or now
    if asked.amends is not None and PermitReturn.objects.filter(amends=asked.amends).exists():
        raise ReturnRefused(
            "", f"version {asked.amends.version} is amended already; amend the newest version"
        )
    told = told_already(permit, asked).same
    if told is not None:
        raise ReturnRefused(
            "",
            f"return {told.serial} tells of these days already (version {told.version}, frozen by "
            f"{told.frozen_by.name}); make an amended return of it, or choose other days",
        )
    draft = read_draft(permit, asked, zone=zone, known_at=moment, hidden=hidden)
    found = findings(draft, today=moment.astimezone(zone).date())
    _check(draft, found, explained=explained.strip(), looked_at=looked_at)
    statement = statement_of(
        draft, signer=by.name, now=moment, explained=explained.strip(), remark=remark.strip()
    )
    made = PermitReturn.objects.create(
        permit=permit,
        serial=draft.serial,
        version=draft.version,
        amends=asked.amends,
        starts_on=asked.starts_on,
        ends_on=asked.ends_on,
        as_of=asked.as_of,
        nil=asked.nil,
        template=asked.template,
        columns=[list(one) for one in draft.columns],
        coarse_degrees=draft.coarse,
        head=[list(pair) for pair in statement.head],
        open_ends=[finding.sentence for finding in found if not finding.met],
        explained=explained.strip(),
        remark=remark.strip(),
        fingerprint=statement.fingerprint,
        frozen_at=moment,
        frozen_by=by,
        recorded_at=now,
    )
    ReturnRow.objects.bulk_create(_rows(made, draft, statement))
    for form in FORMS:
        name = f"{statement.name}.{form}"
        document = keep_document(name=name, content=write(statement, form), by=by, now=now)
        ReturnFile.objects.create(of_return=made, form=form, document=document)
    return made


def nil_return(
    *,
    permit: Permit,
    write: Write,
    by: Person,
    now: datetime,
    zone: tzinfo,
    hidden: Collection[int] = (),
    asked: Asked | None = None,
) -> PermitReturn:
    """Says that nothing was taken in the days of ``asked``, else in those that come next.

    It never says so of a day that is still to come. Raises :class:`ReturnRefused`.
    """
    today = now.astimezone(zone).date()
    asked = asked or next_asked(permit, today=today)
    if asked.starts_on > today:
        raise ReturnRefused(
            "", f"the days of this return begin on {asked.starts_on}: nothing can be said of them yet"
        )
    said = "Nothing was taken."
    if asked.ends_on >= today:
        said = f"Nothing was taken up to {today}; the days of this return end on {asked.ends_on}."
    return freeze_return(
        permit=permit,
        asked=replace(asked, nil=True),
        write=write,
        by=by,
        now=now,
        zone=zone,
        explained=said,
        hidden=hidden,
    )


def _check(draft: Draft, found: Collection[Finding], *, explained: str, looked_at: str) -> None:
    if draft.hidden:
        raise ReturnRefused(
            "", "you are counting some of these animals; hand your sheet in first, then make the return"
        )
    if looked_at and looked_at != seen(draft):
        raise ReturnRefused("", "something was entered while you looked; it is shown below as it is now")
    if draft.asked.nil and draft.rows:
        n = len(draft.rows)
        raise ReturnRefused("", f"{n} take{'s stand' if n > 1 else ' stands'} in these days: it is not nil")
    if not draft.asked.nil and not draft.rows and not draft.withdrawn:
        raise ReturnRefused("", "nothing was taken in these days; make a nil return")
    for finding in found:
        if finding.blocks:
            raise ReturnRefused("", finding.sentence)
    if any(not finding.met for finding in found) and not explained:
        raise ReturnRefused("explained", "say what the authority is to know of what is missing, or mend it")


def _rows(made: PermitReturn, draft: Draft, statement: Statement) -> list[ReturnRow]:
    """The rows as they are kept: all that is known, and what is told where that is less."""
    rows = []
    for (take, row), told in zip(draft.in_order, statement.rows, strict=True):
        kept = ReturnRow(of_return=made, line=told.line, take=take, mark=told.mark, withdrawn=told.withdrawn)
        if row is not None:
            kept.take_row, kept.trip_row = row.read.take, row.read.trip
            kept.values, kept.told = dict(row.values), None if draft.coarse is None else dict(row.told)
        else:
            old = draft.before[take]
            kept.take_row_id, kept.trip_row_id = old.take_row_id, old.trip_row_id
            kept.values = withdrawn_values(old.values)
            kept.told = withdrawn_values(old.told) if old.told else None
        rows.append(kept)
    return rows


@transaction.atomic
def record_sending(
    *,
    of_return: PermitReturn,
    sent_on: date,
    how: str,
    to: str,
    by: Person,
    now: datetime,
    zone: tzinfo,
    note: str = "",
    entered_at: datetime | None = None,
    receipt: tuple[str, bytes] | None = None,
) -> ReturnSending:
    """Notes that a return went out; ``receipt`` is the name and the content of what proves it.

    The same said twice stands once. Raises :class:`ReturnRefused`.
    """
    serialize_writers()
    if not how.strip() or not to.strip():
        raise ReturnRefused("how" if not how.strip() else "to", "say how it was sent, and to whom")
    made_on, today = (moment.astimezone(zone).date() for moment in (of_return.frozen_at, now))
    if not made_on <= sent_on <= today:
        raise ReturnRefused("sent_on", f"it was made on {made_on} and cannot be sent before, nor after today")
    document: Document | None = None
    if receipt is not None:
        try:
            document = keep_document(name=receipt[0], content=receipt[1], by=by, now=now)
        except DocumentRefused as refused:
            raise ReturnRefused("receipt", str(refused)) from refused
    said = ReturnSending(
        of_return=of_return,
        sent_on=sent_on,
        how=how.strip(),
        to=to.strip(),
        receipt=document,
        note=note,
        entered_at=entered_at or now,
        entered_by=by,
    )
    same = of_return.sendings.filter(sent_on=sent_on, how=said.how, to=said.to, receipt=document, note=note)
    # Before it was asked for, the same could be noted twice, and nothing is erased.
    first = same.order_by("pk").first()
    if first is None:
        said.save()
    return first or said


@transaction.atomic
def note_look(
    *, of_return: PermitReturn, words: str, by: Person, now: datetime, at: datetime | None = None
) -> ReturnLook:
    """Notes that what changed since asks for no amended return, and why. Raises :class:`ReturnRefused`."""
    if not words.strip():
        raise ReturnRefused("words", "say why it need not be amended")
    return ReturnLook.objects.create(
        of_return=of_return, words=words.strip(), at=at or now, by=by, recorded_at=now
    )


@transaction.atomic
def approve_correction(*, row: Take | Trip, by: Person, now: datetime) -> CorrectionApproval:
    """A second person agrees with a row that replaced another. Raises :class:`ReturnRefused`."""
    if row.replaces_id is None:
        raise ReturnRefused("", "this row corrects nothing")
    if row.entered_by_id == by.pk:
        raise ReturnRefused("", "your own correction is approved by somebody else")
    if isinstance(row, Take):
        found, _ = CorrectionApproval.objects.get_or_create(take=row, defaults={"at": now, "by": by})
    else:
        found, _ = CorrectionApproval.objects.get_or_create(trip=row, defaults={"at": now, "by": by})
    return found
