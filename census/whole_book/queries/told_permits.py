"""What the permits say of a permit or a lot: versions, trips, takes, cases, returns, notices, loans."""

from collections.abc import Iterator

from django.db.models import Q
from django.urls import reverse

from inventory.book.history import About, Subject, Told
from inventory.permits.models import (
    Case,
    CaseNote,
    CorrectionApproval,
    LineLink,
    LoanConfirmation,
    LoanExtension,
    LoanLot,
    NoticeSending,
    PermitDocument,
    PermitReturn,
    PermitVersion,
    ReturnLook,
    ReturnSending,
    Sighting,
    StatementSent,
    Take,
    TradeFacts,
    Trip,
)

from .of_subject import day, events_of


def told(subject: Subject) -> Iterator[Told]:
    """Fifteen queries for a permit, eight for a lot, none for a place."""
    if subject.kind is About.PERMIT:
        yield from _permit(subject.key)
        yield from _takes(Q(permit__number=subject.key))
        yield from _notices(Q(permit__number=subject.key))
        yield from _cases(subject.key)
        yield from _returns(subject.key)
        yield from _sightings(Q(permit__number=subject.key))
    elif subject.kind is About.LOT:
        yield from _takes(Q(lot=subject.pk) | Q(events__event__in=events_of(subject)))
        yield from _notices(Q(lot=subject.pk))
        yield from _loans(subject.pk)
        yield from _sightings(Q(cell__lot=subject.pk))
        for fact in TradeFacts.objects.filter(event__in=events_of(subject)).select_related(
            "entered_by", "taxon"
        ):
            words = f"{fact.taxon}: {fact.get_trade_display()} {fact.country} {fact.papers}".strip()
            url = reverse("event", args=[fact.event_id])
            yield Told(
                fact.entered_at, fact.entered_at, "trade", words, fact.entered_by.name, why=fact.why, url=url
            )


def _permit(number: str) -> Iterator[Told]:
    for version in PermitVersion.objects.filter(permit__number=number).select_related("entered_by"):
        words = f"version {version.number}, valid {version.valid_from} to {version.valid_until}"
        yield day(
            version.amended_on,
            version.get_kind_display(),
            words,
            version.entered_by.name,
            entered_at=version.entered_at,
        )
    papers = PermitDocument.objects.filter(version__permit__number=number)
    for paper in papers.select_related("document", "attached_by"):
        url = reverse("document", args=[paper.document.sha256])
        yield Told(
            paper.attached_at,
            paper.attached_at,
            "document",
            paper.document.name,
            paper.attached_by.name,
            url=url,
        )
    links = (
        LineLink.objects.filter(permit__number=number).select_related("linked_by").prefetch_related("members")
    )
    for link in links:
        names = ", ".join(member.name for member in link.members.all()) or link.get_scope_display()
        words = f"line {link.line_number}: {names}"
        yield Told(link.linked_at, link.linked_at, "link of a line", words, link.linked_by.name, why=link.why)
    for trip in Trip.objects.filter(permit__number=number).select_related("entered_by"):
        words = ", ".join(word for word in (trip.gear, trip.vessel) if word)
        url = reverse("trip", args=[trip.identifier])
        what = "trip, corrected row" if trip.replaces_id else "trip"
        yield day(trip.starts_on, what, words, trip.entered_by.name, entered_at=trip.entered_at, url=url)
    for sent in StatementSent.objects.filter(permit__number=number).select_related("entered_by"):
        words = f"stock at the end of {sent.as_of}, {sent.how}"
        yield day(
            sent.sent_on, "statement of stock sent", words, sent.entered_by.name, entered_at=sent.entered_at
        )


def _sightings(where: Q) -> Iterator[Told]:
    """Marked animals that were seen, and what was withdrawn of it. One query."""
    related = ("permit", "cell__lot", "entered_by", "withdrawn__by")
    for one in Sighting.objects.filter(where).select_related(*related):
        words = f"{one.n} of {one.permit.number} seen in lot {one.cell.lot.accession}: {one.mark}"
        who, url = one.entered_by.name, reverse("lot_sources", args=[one.cell.lot.accession])
        yield Told(one.effective_at, one.entered_at, "marked animal seen", words, who, one.happened, url=url)
        if back := getattr(one, "withdrawn", None):
            yield Told(back.at, back.at, "sighting withdrawn", words, back.by.name, why=back.why, url=url)


def _takes(where: Q) -> Iterator[Told]:
    takes = Take.objects.filter(where).select_related("trip", "permit", "entered_by", "lot").distinct()
    for take in takes.order_by("id"):
        words = (
            f"{take.verbatim_identification}: {take.caught} caught, {take.let_go} let go, {take.died} died, "
            f"{take.kept} kept ({take.unit}), permit {take.permit.number}"
        )
        if take.lot:
            words += f", lot {take.lot.accession}"
        what = "take, corrected row" if take.replaces_id else "take"
        one = day(take.trip.starts_on, what, words, take.entered_by.name, entered_at=take.entered_at)
        yield Told(one.at, one.entered_at, what, words, one.who, one.happened, why=take.why or take.remarks)
    approvals = CorrectionApproval.objects.filter(
        Q(take__in=takes.order_by().values("pk")) | Q(trip__takes__in=takes.order_by().values("pk"))
    )
    for approval in approvals.select_related("by").distinct():
        of = f"take, row {approval.take_id}" if approval.take_id else f"trip, row {approval.trip_id}"
        yield Told(approval.at, approval.at, "correction approved", of, approval.by.name)


def _notices(where: Q) -> Iterator[Told]:
    notices = NoticeSending.objects.filter(where).select_related("lot", "entered_by", "permit")
    for one in notices:
        told_of = f"{one.n} of {one.lot.accession}, found {one.found_on}"
        words = f"{one.get_told_display()}: {told_of}; {one.to} {one.how}"
        yield day(one.sent_on, "notice", words.strip(), one.entered_by.name, entered_at=one.entered_at)


def _cases(number: str) -> Iterator[Told]:
    """The words of a case may tell positions: its page tells them to who may read it."""
    for case in Case.objects.filter(permit__number=number).select_related("owner", "closed_by"):
        url = reverse("case", args=[case.pk])
        words = f"case {case.pk}: {case.get_kind_display()}"
        yield Told(case.opened_at, case.opened_at, "case opened", words, case.owner.name, url=url)
        if case.closed_at and case.closed_by:
            yield Told(case.closed_at, case.closed_at, "case closed", words, case.closed_by.name, url=url)
    for note in CaseNote.objects.filter(case__permit__number=number).select_related("by", "case"):
        url = reverse("case", args=[note.case_id])
        yield Told(
            note.at,
            note.at,
            "note in a case",
            f"case {note.case_id}: {note.case.get_kind_display()}",
            note.by.name,
            url=url,
        )


def _returns(number: str) -> Iterator[Told]:
    for one in PermitReturn.objects.filter(permit__number=number).select_related("frozen_by"):
        nil = ", nil" if one.nil else ""
        words = f"return {one.serial} version {one.version}, {one.starts_on} to {one.ends_on}{nil}"
        url = reverse("return", args=[one.pk])
        yield Told(
            one.frozen_at,
            one.recorded_at,
            "return frozen",
            words,
            one.frozen_by.name,
            why=one.explained,
            url=url,
        )
    sendings = ReturnSending.objects.filter(of_return__permit__number=number)
    for sent in sendings.select_related("of_return", "entered_by"):
        words = f"return {sent.of_return.serial} version {sent.of_return.version} to {sent.to}, {sent.how}"
        yield day(sent.sent_on, "return sent", words, sent.entered_by.name, entered_at=sent.entered_at)
    for look in ReturnLook.objects.filter(of_return__permit__number=number).select_related("by", "of_return"):
        words = f"return {look.of_return.serial}: {look.words}"
        yield Told(look.at, look.recorded_at, "looked at what has changed", words, look.by.name)


def _loans(lot: int) -> Iterator[Told]:
    for one in LoanLot.objects.filter(lot=lot).select_related("loan", "added_by"):
        young = ", young" if one.young else ""
        words = f"{one.loan.reference}, {one.loan.get_direction_display()}, {one.loan.party}{young}"
        yield Told(one.added_at, one.added_at, "under a loan", words, one.added_by.name)
    letters = (
        LoanConfirmation.objects.filter(loan__lots__lot=lot).select_related("loan", "entered_by").distinct()
    )
    for letter in letters:
        words = f"{letter.loan.reference}: {letter.words}" if letter.words else letter.loan.reference
        yield day(
            letter.letter_of,
            "letter of the holder",
            words,
            letter.entered_by.name,
            entered_at=letter.entered_at,
        )
    longer = LoanExtension.objects.filter(loan__lots__lot=lot).select_related("loan", "entered_by").distinct()
    for one_more in longer:
        words = f"{one_more.loan.reference} until {one_more.until}"
        yield Told(
            one_more.entered_at,
            one_more.entered_at,
            "loan goes on",
            words,
            one_more.entered_by.name,
            why=one_more.why,
        )
