"""Saves a report to be made again, ends it, and asks for those that are due."""

from datetime import date, datetime

from django.db import transaction

from inventory.book.rules.scope import Scope
from inventory.people.models import Person

from ..models import ReportJob, SavedReport
from ..queries.documents import layout_called, newest_closed_quarter
from ..queries.one_taxon import taxon_called
from ..rules.file_forms import MEDIA
from ..rules.schedule import LAST_DAY, Every, PeriodRule, next_due, period_of
from .jobs import ask_job


class NotSaved(Exception):
    """Why a report is not saved, with what to do."""


@transaction.atomic
def save_report(
    *,
    name: str,
    layout: str,
    scope: Scope,
    period_rule: PeriodRule,
    form: str,
    every: Every,
    day: int,
    today: date,
    by: Person,
    now: datetime,
    subject: str = "",
) -> SavedReport:
    """Saves it; it is due for the first time on the next day that the schedule names."""
    name = name.strip()
    if not name:
        raise NotSaved("Give the report a name.")
    if SavedReport.objects.filter(name=name).exists():
        raise NotSaved(
            f"A report is saved as “{name}” already; choose another name, an ended one keeps its own."
        )
    if not 1 <= day <= LAST_DAY:
        raise NotSaved(f"Choose a day from 1 to {LAST_DAY}: every month has it.")
    try:
        wanted = layout_called(layout)
    except ValueError as error:
        raise NotSaved(f"{error}.") from None
    if wanted.subject and not subject:
        raise NotSaved(f"Say which {wanted.subject} “{wanted.words}” is to be of.")
    if wanted.subject:
        _check_subject(subject)
    if form not in MEDIA:
        raise NotSaved(f"A file is one of {', '.join(MEDIA)}.")
    return SavedReport.objects.create(
        name=name,
        layout=layout,
        subject=subject if wanted.subject else "",
        scope=scope.value,
        period_rule=period_rule.value,
        form=form,
        every=every.value,
        day=day,
        next_due_on=next_due(every, day, today),
        made_by=by,
        made_at=now,
    )


def _check_subject(subject: str) -> None:
    """A name that nobody has would be found out by a file that fails on its day."""
    try:
        taxon_called(subject)
    except ValueError as error:
        said = str(error)
        raise NotSaved(f"{said[:1].upper()}{said[1:]}{'' if said.endswith('?') else '.'}") from None


@transaction.atomic
def end_report(*, report: SavedReport, by: Person, now: datetime) -> None:
    """It is not made again; what was made stays."""
    SavedReport.objects.filter(pk=report.pk, ended_at=None).update(
        ended_at=now, ended_by=by, next_due_on=None
    )


@transaction.atomic
def ask_saved(*, report: SavedReport, by: Person, today: date, now: datetime) -> ReportJob:
    """Asks for the file of today. Raises :class:`NotSaved` when its period cannot be told."""
    try:
        first, last = period_of(PeriodRule(report.period_rule), today, newest_closed_quarter())
    except ValueError as error:
        raise NotSaved(f"“{report}” is not made: {error}.") from None
    question = {"first_day": first.isoformat(), "last_day": last.isoformat(), "scope": report.scope}
    if report.subject:
        question["subject"] = report.subject
    return ask_job(layout=report.layout, question=question, form=report.form, by=by, now=now, saved=report)


def ask_due(*, today: date, now: datetime) -> tuple[list[ReportJob], list[str]]:
    """Asks for every saved report that is due, once each, and moves its day on; answers the jobs, and why
    the others were not asked. What was missed while nobody looked is made once, not for each day missed."""
    jobs, troubles = [], []
    waiting = SavedReport.objects.filter(ended_at=None, next_due_on__lte=today)
    for report in waiting.select_related("made_by").order_by("pk"):
        with transaction.atomic():
            after = next_due(Every(report.every), report.day, today)
            mine = SavedReport.objects.filter(pk=report.pk, next_due_on=report.next_due_on)
            if not mine.update(next_due_on=after):
                continue
            try:
                jobs.append(ask_saved(report=report, by=report.made_by, today=today, now=now))
            except NotSaved as error:
                troubles.append(str(error))
    return jobs, troubles
