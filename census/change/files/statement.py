"""The population change as it was signed: figures for programs, and the same as a printed page."""

import json
from collections.abc import Sequence
from datetime import tzinfo
from typing import Any

from inventory.book.models import PeriodVersion, VersionStatement
from inventory.book.rules.fingerprint import canonical
from inventory.book.rules.words import MINUS
from inventory.book.statements import CHANGED, FIGURES, PAGES, PRINTED, Paper

from ..queries.behind_changes import events_between
from ..queries.head import Head, report_head
from ..queries.report import Report, change_reports, value_of
from ..rules.changed import changed_figures
from ..rules.columns import COLUMNS, HEADINGS, SIGNS
from ..rules.question import By, Question
from ..rules.words import ties_in_words
from .statement_pdf import statement_pdf


def papers(version: PeriodVersion, zone: tzinfo) -> list[Paper]:
    """The report of the period by taxon and by place, as reported with this closing.

    Names are spelled as they are at the moment of closing, which is now.
    """
    period = version.period
    question = Question(first_day=period.starts_on, last_day=period.ends_on, known_at=version.closed_at)
    taxon, place = change_reports(question, [By.TAXON, By.PLACE], zone=zone)
    head = report_head(taxon, zone=zone)
    by_taxon = [_record(report_row) for report_row in taxon.records()]
    stated = {
        "head": dict(head.lines),
        "columns": list(COLUMNS),
        "by_taxon": by_taxon,
        "by_place": [_record(report_row) for report_row in place.records()],
        "totals": {
            unit: {column: value_of(change, column) for column in COLUMNS}
            for unit, change in taxon.totals.items()
        },
        "check": _check([*taxon.named_untied, *place.named_untied]),
    }
    changed = _changed(version, by_taxon)
    printed = _printed(taxon, head)
    house = dict(head.lines).get("house", "")
    pages = statement_pdf(
        printed, title=head.title, foot="; ".join(text for text in (house, str(version)) if text)
    )
    return [
        *([Paper(CHANGED, "application/json", canonical(changed))] if changed is not None else []),
        Paper(FIGURES, "application/json", canonical(stated)),
        Paper(PRINTED, "text/plain; charset=utf-8", printed.encode()),
        Paper(PAGES, "application/pdf", pages),
    ]


def _changed(version: PeriodVersion, rows: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
    """Each figure that differs from the version before, with the events that did it; None for the first."""
    before = (
        VersionStatement.objects.filter(
            version__period=version.period, version__number=version.number - 1, name=FIGURES
        )
        .select_related("version")
        .first()
    )
    if before is None:
        return None
    changed = changed_figures(json.loads(bytes(before.content))["by_taxon"], rows)
    events = events_between(before.version, version)
    return [
        {
            "name": one.name,
            "unit": one.unit,
            "figure": one.figure,
            "old": one.old,
            "new": one.new,
            "events": events.get((one.name, one.unit), []),
        }
        for one in changed
    ]


def _record(record: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in record.items() if value != ""}


def _check(untied: Sequence[str]) -> str:
    """In the letters of the papers that were signed before: the same version must give the same bytes."""
    return ties_in_words(untied).replace(MINUS, "-")


def _printed(report: Report, head: Head) -> str:
    """Head, then for each row its figures that are not zero, in the order of the identity."""
    width = max((len(heading) for heading, _ in head.lines), default=0) + 2
    lines = [head.title, "=" * len(head.title), ""]
    lines += [f"{heading + ':':<{width}}{text}" for heading, text in head.lines]
    lines += ["", _check(report.named_untied), ""]
    for row in report.rows:
        lines.append(f"{row.taxon.scientific_name} ({row.unit})")
        lines += [f"  {text}" for text in _figures(row.value)]
    for unit, change in report.totals.items():
        lines += ["", f"All ({unit})"]
        lines += [f"  {text}" for text in _figures(lambda column, of=change: value_of(of, column))]
    return "\n".join(lines) + "\n"


def _figures(value: Any) -> list[str]:
    """``+ born 4``: sign, heading and number; opening and closing always, others when not zero."""
    texts = []
    for column in COLUMNS:
        figure = value(column)
        if column in ("opening", "closing") or (figure and not column.endswith("_mfu")):
            sign = {1: "+", -1: "-"}.get(SIGNS.get(column, 0), "=") if column != "opening" else " "
            mfu = value(f"{column}_mfu") if column in ("opening", "closing") else ""
            texts.append(f"{sign} {HEADINGS[column]:<26}{figure:>8}  {mfu}".rstrip())
    return texts
