"""Files made beside the requests: asked for, worked at in a thread or by the command, fetched later."""

import logging
import threading
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import Q
from django.utils import timezone

from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.people.models import Person

from ..models import ReportJob, SavedReport
from ..queries.documents import document_of, layout_called, question_of
from ..rules.checking import failures
from ..rules.file_forms import MEDIA, file_name, says_words
from ..rules.said import Saying
from .mail import tell_of

log = logging.getLogger(__name__)

State = ReportJob.State
# Makes the bytes of a file; the doors bring it, for what writes to the book knows no form of paper.
Writes = Callable[..., bytes]
# Who works at a job and says nothing for so long has ended: another takes it up.
HELD_FOR = timedelta(minutes=3)
MOST_TRIES = 3
# Between two words about how far it is.
TELL_EVERY = timedelta(seconds=1)

_writer = threading.Lock()


@transaction.atomic
def ask_job(
    *,
    layout: str,
    question: Mapping[str, str],
    form: str,
    by: Person,
    now: datetime,
    part: str = "",
    saved: SavedReport | None = None,
) -> ReportJob:
    """Asks for a file; one that the same person has asked for and that is not made yet is answered again."""
    layout_called(layout)
    if form not in MEDIA:
        raise ValueError(f"a file is one of {', '.join(MEDIA)}, not {form!r}")
    same = ReportJob.objects.filter(
        layout=layout,
        form=form,
        part=part,
        asked_by=by,
        saved=saved,
        state__in=(State.WAITING, State.WORKING),
    )
    for job in same:
        if job.question == dict(question):
            return job
    return ReportJob.objects.create(
        layout=layout,
        question=dict(question),
        form=form,
        part=part,
        saved=saved,
        asked_by=by,
        asked_at=now,
    )


def work_soon(write: Writes) -> None:
    """Works at what waits once the transaction is written, in a thread of its own."""
    transaction.on_commit(lambda: _start(write))


def _start(write: Writes) -> None:
    from inventory.doors.clock import now

    threading.Thread(target=_carry, args=(now, write), name="reports", daemon=True).start()


def _carry(now: Callable[[], datetime], write: Writes) -> None:
    """One writer in a process: a second one leaves, for the first looks again before it ends."""
    if not _writer.acquire(blocking=False):
        return
    try:
        while work_at_one(now=now, write=write):
            pass
    except Exception:
        # What was begun is taken up again when it has been silent for long enough.
        log.exception("The writer of reports stopped.")
    finally:
        _writer.release()
        connection.close()


def due(now: datetime) -> Q:
    """Jobs that wait, and those that were begun by somebody who has ended."""
    return Q(state=State.WAITING) | Q(state=State.WORKING, held_until__lt=now)


def work_at_one(*, now: Callable[[], datetime], write: Writes) -> bool:
    """Makes the oldest file that is due; False when there is none.

    It is taken first (compare and set), so that two who look at once make it once.
    """
    moment = now()
    job = ReportJob.objects.filter(due(moment)).order_by("asked_at", "id").first()
    if job is None:
        return False
    mine = ReportJob.objects.filter(pk=job.pk, state=job.state, held_until=job.held_until).update(
        state=State.WORKING,
        started_at=moment,
        held_until=moment + HELD_FOR,
        tries=job.tries + 1,
        rows_done=0,
    )
    if not mine:
        return True
    job.refresh_from_db()
    if job.tries > MOST_TRIES:
        _fail(job, f"it was begun {MOST_TRIES} times and never finished; ask for a shorter period", moment)
        return True
    try:
        _make(job, now, write)
    except (ValueError, DocumentRefused) as error:
        _fail(job, str(error), now())
    except Exception as error:
        log.exception("Report %s was not made.", job.pk)
        _fail(job, f"the program failed ({type(error).__name__}); the house's log tells more", now())
    return True


def _make(job: ReportJob, now: Callable[[], datetime], write: Writes) -> None:
    saying = Saying(timezone.get_current_timezone(), says_words(job.form))
    layout = layout_called(job.layout)
    question, subject = question_of(layout, job.question, today=timezone.localdate(job.asked_at))
    document = document_of(layout, question, saying, subject)
    ReportJob.objects.filter(pk=job.pk).update(
        title=document.title, rows=document.lines, held_until=now() + HELD_FOR
    )
    content = write(
        document,
        job.form,
        saying=saying,
        now=job.asked_at,
        part=job.part,
        by=job.asked_by.name,
        progress=_Progress(job, now),
    )
    name = file_name(document, job.form, job.part)
    kept = keep_document(name=name, content=content, by=job.asked_by, now=now())
    ReportJob.objects.filter(pk=job.pk).update(
        state=State.DONE,
        done_at=now(),
        held_until=None,
        rows_done=document.lines,
        document=kept,
        ties=not failures(document),
        reason="",
    )
    job.refresh_from_db()
    if job.saved:
        tell_of(job)


class _Progress:
    """Writes down how many lines are done, not more often than is looked at, and keeps the job held."""

    def __init__(self, job: ReportJob, now: Callable[[], datetime]) -> None:
        self._job, self._now, self._done, self._told = job, now, 0, now()

    def __call__(self, lines: int) -> None:
        self._done += lines
        moment = self._now()
        if moment - self._told >= TELL_EVERY:
            self._told = moment
            ReportJob.objects.filter(pk=self._job.pk).update(
                rows_done=self._done, held_until=moment + HELD_FOR
            )


def _fail(job: ReportJob, reason: str, moment: datetime) -> None:
    ReportJob.objects.filter(pk=job.pk).update(
        state=State.FAILED, reason=reason[:500], done_at=moment, held_until=None
    )
    job.refresh_from_db()
    if job.saved:
        tell_of(job)
