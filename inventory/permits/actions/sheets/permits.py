"""Permits and their schedules, from two sheets that belong together."""

from collections.abc import Mapping, Sequence
from typing import Any

from inventory.book.actions.load.guests import GuestLoad, GuestRow

from ...models import Permit, PermitLine, Scope, VersionKind, Waters
from ...rules.sheets import PERMIT_LINES, PERMITS
from ..permits import LineFacts, LinkFacts, PermitRefused, VersionFacts, amend_permit, enter_permit
from .loading import Loading


def write_permits(rows: Sequence[GuestRow], line_rows: Sequence[GuestRow], to: GuestLoad) -> None:
    """Enters permits, and their versions in order, each with its lines."""
    loading = Loading(PERMITS, to)
    lines = Loading(PERMIT_LINES, to)
    by_version = _by_version(line_rows)
    for row in sorted(rows, key=lambda row: (row.values["number"], row.values.get("version") or 1)):
        mine = by_version.pop((row.values["number"], row.values.get("version") or 1), [])
        new = _write_version(row, mine, loading, lines)
        lines.tally.new += new
        lines.tally.already_there += len(mine) - new
    for (number, version), left in by_version.items():
        message = f"there is no version {version} of the permit {number!r} in the sheet {PERMITS.name}"
        lines.refuse(left[0], "permit", message)


def _by_version(rows: Sequence[GuestRow]) -> dict[tuple[str, int], list[GuestRow]]:
    found: dict[tuple[str, int], list[GuestRow]] = {}
    for row in rows:
        key = row.values["permit"], row.values.get("version") or 1
        found.setdefault(key, []).append(row)
    return found


def _write_version(row: GuestRow, lines: Sequence[GuestRow], loading: Loading, of_lines: Loading) -> int:
    """Enters one version; answers how many lines were new."""
    values = row.values
    number, version = values["number"], values.get("version") or 1
    permit = Permit.objects.filter(number=number).first()
    known = permit.versions.filter(number=version).first() if permit else None
    if known is not None:
        loading.tally.already_there += 1
        if (known.valid_from, known.valid_until) != (values["valid_from"], values["valid_until"]):
            loading.differs(row, "valid_from", f"version {version} of {number}")
        said = [(line.values["words"], line.values.get("limit")) for line in lines]
        here = list(PermitLine.objects.filter(version=known).values_list("words", "limit"))
        if lines and said != here:
            loading.differs(row, "number", f"the schedule of version {version} of {number}")
        return 0
    facts = _version_facts(values, lines)
    who, when = loading.by(row), loading.entered(row)
    try:
        if permit is None:
            enter_permit(
                number=number,
                authority=values["authority"],
                authority_name=values.get("authority_name", ""),
                return_days=values.get("return_days"),
                holder=values["holder"],
                kind=values.get("kind") or "collecting",
                short=values.get("short", ""),
                facts=facts,
                by=who,
                now=when,
            )
        else:
            change = VersionKind(values.get("change") or VersionKind.AMENDMENT)
            amended_on = values.get("amended_on") or values["valid_from"]
            amend_permit(permit=permit, facts=facts, kind=change, amended_on=amended_on, by=who, now=when)
    except PermitRefused as refused:
        if refused.line is None:
            loading.refuse(row, refused.column, str(refused))
        else:
            of_lines.refuse(lines[refused.line], refused.column, str(refused))
        return 0
    except ValueError:
        kinds = ", ".join(kind.value for kind in VersionKind)
        loading.refuse(row, "change", f"{values.get('change')!r} is none of {kinds}")
        return 0
    loading.tally.new += 1
    return len(lines)


def _version_facts(values: Mapping[str, Any], lines: Sequence[GuestRow]) -> VersionFacts:
    return VersionFacts(
        valid_from=values["valid_from"],
        valid_until=values["valid_until"],
        lines=[_line_facts(line.values) for line in lines],
        people=values.get("people", ()),
        area_words=values.get("area_words", ""),
        area=values.get("area", ()),
        waters=values.get("waters") or Waters.SEA.value,
        gear=values.get("gear", ()),
        seasons=values.get("seasons", ()),
        conditions=values.get("conditions", ""),
        let_go_alive_counts=bool(values.get("let_go_alive_counts")),
        notice_days=values.get("notice_days"),
        missing_is_notice=bool(values.get("missing_is_notice")),
        stock_statement=values.get("stock_statement", ""),
        return_due_on=values.get("return_due_on"),
        why=values.get("why", ""),
    )


def _line_facts(values: Mapping[str, Any]) -> LineFacts:
    names = values.get("names", ())
    scope = values.get("covers") or Scope.TAXON.value
    return LineFacts(
        words=values["words"],
        limit=values.get("limit"),
        per=values.get("per") or "permit",
        unit=values.get("unit") or "animal",
        sex=values.get("sex", ""),
        condition=values.get("condition", ""),
        smallest_mm=values.get("smallest_mm"),
        largest_mm=values.get("largest_mm"),
        let_go_alive_counts=values.get("let_go_alive_counts"),
        number=values.get("line") or 0,
        link=LinkFacts(scope, names) if names else None,
    )
