"""One sheet on its way in: who enters a row, when, and where its problems go."""

from datetime import datetime

from inventory.book.actions.load.guests import GuestLoad, GuestRow
from inventory.book.rules.drafts import Problem
from inventory.book.rules.sheets import Sheet
from inventory.people.models import Person


class Loading:
    """One sheet on its way in: who enters a row, and where problems go."""

    def __init__(self, sheet: Sheet, to: GuestLoad) -> None:
        self.sheet = sheet
        self.to = to
        self.tally = to.report.tally(sheet.name)
        self._people: dict[str, Person] = {}

    def by(self, row: GuestRow) -> Person:
        """Who entered the row; a name that nobody bears is made a person without a sign-in, as for events."""
        name = row.values.get("entered_by") or self.to.by
        if name not in self._people:
            self._people[name] = Person.objects.get_or_create(name=name)[0]
        return self._people[name]

    def entered(self, row: GuestRow) -> datetime:
        """When the row was entered; now, when it does not say."""
        moment: datetime = row.values.get("entered") or self.to.now
        return moment

    def refuse(self, row: GuestRow, column: str, message: str) -> None:
        """Notes a problem of one row."""
        self.to.report.refuse(self.sheet.problem(row.number, column, message))

    def differs(self, row: GuestRow, column: str, what: str) -> None:
        """Notes that something is here already and says otherwise."""
        self.refuse(
            row, column, f"{what} is here and says otherwise; what is written is not changed by a load"
        )


def column_in(sheet: Sheet, problem: Problem) -> str:
    """The sheet's own column for what a slip or a draft calls otherwise; blank when it has none."""
    named = {"lot": "accession", "numbers": "kept"}.get(problem.column, problem.column)
    return named if named in sheet.columns else ""
