"""Over which days the limits of permits are counted: from a renewal to the next, some by the year."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, timedelta

from ..models import Per, PermitLine, PermitVersion, VersionKind


class Runs:
    """The runs of some permits. Two queries when it is made, none after."""

    def __init__(self, permits: Collection[int]) -> None:
        self._renewed: defaultdict[int, list[date]] = defaultdict(list)
        renewals = PermitVersion.objects.filter(permit__in=permits, kind=VersionKind.RENEWAL)
        for permit, day in renewals.order_by("valid_from").values_list("permit_id", "valid_from"):
            self._renewed[permit].append(day)
        lines = PermitLine.objects.filter(version__permit__in=permits).order_by("version__number")
        self._per = {
            (permit, number): per
            for permit, number, per in lines.values_list("version__permit_id", "number", "per")
        }

    def begins(self, permit: int, line: int | None, day: date) -> date:
        """The first day of the run of a line in which ``day`` lies; what is held at once knows no runs."""
        per = self._per.get((permit, line or 0))
        if per == Per.HELD:
            return date.min
        since = max((one for one in self._renewed[permit] if one <= day), default=date.min)
        return max(since, date(day.year, 1, 1)) if per == Per.YEAR else since

    def ends(self, permit: int, day: date) -> set[date]:
        """The last days of the run and of the year, in which ``day`` lies."""
        run = min((one for one in self._renewed[permit] if one > day), default=date.max)
        last = run if run == date.max else run - timedelta(days=1)
        return {last, min(last, date(day.year, 12, 31))}

    def is_whole(self, permit: int, per: str, day: date, today: date) -> bool:
        """True when numbers at the end of ``day`` are all that there are of a run, up to ``today``."""
        if day == today:
            return True
        if per == Per.HELD:
            return False
        renewed = day + timedelta(days=1) in self._renewed[permit]
        return renewed or (per == Per.YEAR and (day.month, day.day) == (12, 31))
