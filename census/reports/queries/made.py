"""Saved reports and the files that were made, as their page shows them."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import QuerySet

from census.change.rules.words import SCOPE_WORDS
from inventory.book.rules.days import days_in_words
from inventory.book.rules.scope import Scope

from ..models import ReportJob, SavedReport
from ..rules.file_forms import FORM_WORDS
from ..rules.schedule import EVERY_WORDS, PERIOD_WORDS, Every, PeriodRule
from .layouts import LAYOUTS


@dataclass(frozen=True, slots=True)
class SavedRow:
    """A saved report in words."""

    report: SavedReport
    layout: str
    scope: str
    days: str
    every: str
    form: str


def saved_rows() -> list[SavedRow]:
    """Those that are not ended. One query."""
    found = SavedReport.objects.filter(ended_at=None).select_related("made_by")
    return [
        SavedRow(
            report=one,
            layout=LAYOUTS[one.layout].words if one.layout in LAYOUTS else one.layout,
            scope=SCOPE_WORDS[Scope(one.scope)].partition(":")[0],
            days=PERIOD_WORDS[PeriodRule(one.period_rule)],
            every=EVERY_WORDS[Every(one.every)],
            form=FORM_WORDS[one.form],
        )
        for one in found
    ]


def words_of(job: ReportJob) -> str:
    """Its title, once it is made; before that, and where it failed, what was asked for."""
    if job.title or job.layout not in LAYOUTS:
        # A workbook has ISO days in its title; a page says them in words.
        return days_in_words(str(job))
    asked = LAYOUTS[job.layout].words
    subject = job.question.get("subject", "")
    return f"{asked}: {subject}" if subject else asked


def job_rows(without: Collection[str]) -> QuerySet[ReportJob]:
    """Files, the newest first, but for those of layouts that the reader may not open."""
    return ReportJob.objects.exclude(layout__in=without).select_related("document", "asked_by", "saved")
