"""What the reports' routes of the interface are asked with, and what they answer, field by field."""

from datetime import date, datetime
from typing import Annotated

from django.utils import timezone
from ninja import Field, Schema
from pydantic import AfterValidator

from census.change.rules.question import Basis, By
from inventory.book.queries.quantities import StockBy
from inventory.book.rules.scope import Scope
from inventory.tankside.schemas_text import LARGEST_NUMBER, Text

# A house keeps no books outside of these, and no zone moves a day of them out of the calendar.
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)
Day = Annotated[date, Field(ge=FIRST_DAY, le=LAST_DAY)]


def _known(moment: datetime) -> datetime:
    """A moment without a zone is one of the house."""
    if not FIRST_DAY.year <= moment.year <= LAST_DAY.year:
        raise ValueError(f"give a moment from {FIRST_DAY.year} to {LAST_DAY.year}")
    return moment if moment.tzinfo else timezone.make_aware(moment)


Moment = Annotated[datetime, AfterValidator(_known)]


class PageIn(Schema):
    """Which part of the rows."""

    offset: int = Field(0, ge=0, le=LARGEST_NUMBER, description="Rows to pass over.")
    limit: int = Field(200, ge=1, le=1_000, description="Rows to answer at most.")


class QuestionIn(PageIn):
    """A population change: of which days, of whose animals, as known when."""

    first_day: Day | None = Field(
        None, description="First day, inside; left out with the last: the last quarter."
    )
    last_day: Day | None = Field(None, description="Last day, inside.")
    by: By = Field(By.TAXON, description="What a row is.")
    scope: Scope = Field(
        Scope.HERE, description="here: on the premises; ours: owned by the house; all: both."
    )
    basis: Basis | None = Field(None, description="As reported at the closings, or as known at one moment.")
    known_at: Moment | None = Field(None, description="Count only what was entered by then.")


class FigureIn(QuestionIn):
    """One figure of a population change."""

    figure: Text = Field(description="A column of the change, such as died or closing; several with a plus.")
    unit: Text = Field(description="The unit of the row.")
    taxon: int | None = Field(
        None, ge=0, le=LARGEST_NUMBER, description="The row's taxon; left out: all of the unit."
    )
    group: Text = Field("", description="The row's group, as the change answers it; left out: all.")


class StockIn(PageIn):
    """A stock list at the end of a day."""

    as_of: Day | None = Field(None, description="At the end of this day; left out: today.")
    by: StockBy = Field(StockBy.TAXON, description="What a row is.")
    scope: Scope = Field(
        Scope.HERE, description="here: on the premises; ours: owned by the house; all: both."
    )
    known_at: Moment | None = Field(None, description="Count only what was entered by then.")


class PermitsIn(PageIn):
    """The permits' table at the end of a day."""

    as_of: Day | None = Field(None, description="At the end of this day; left out: today.")
    permit: Text = Field("", description="Number of one permit; left out: all.")
    known_at: Moment | None = Field(None, description="Count only what was entered by then.")


class PageOut(Schema):
    """What every list says of itself."""

    total: int = Field(description="Rows in all.")
    next: str | None = Field(description="Address of the next part; null: this was the last.")
    head: str = Field(description="Number and hash of the last event of the book that was read.")


class ChangeRowOut(Schema):
    """One row: opening + in - out + late = closing."""

    taxon: int = Field(description="Number of the taxon, to ask for the events behind a figure.")
    name: str = Field(description="Accepted name without authorship.")
    group: str = Field(description="What to ask for the row's group; blank by taxon.")
    label: str = Field(description="The group in words: place, lot, source or owner.")
    unit: str = Field(description="Unit; never mixed in one row.")
    figures: dict[str, int] = Field(description="Columns of the population change by name.")
    opening_mfu: str = Field(description="Opening as males.females.unknown.")
    closing_mfu: str = Field(description="Closing as males.females.unknown.")
    died_within_30_days_most: int = Field(
        description="Most deaths that may have been within 30 days of birth."
    )
    ties: bool = Field(description="The book's own reader finds the same closing.")


class ChangeOut(PageOut):
    """A population change."""

    first_day: date = Field(description="First day, inside.")
    last_day: date = Field(description="Last day, inside.")
    basis: str = Field(description="reported or known.")
    ties: bool = Field(description="Every row ties.")
    totals: dict[str, dict[str, int]] = Field(description="Sums of all rows, by unit and column.")
    rows: list[ChangeRowOut] = Field(description="Rows of this part.")


class StockRowOut(Schema):
    """One row of a stock list; the numbers hold those that are missing too."""

    label: str = Field(description="Name, place, accession number or source.")
    unit: str = Field(description="Unit; never mixed in one row.")
    males: int = Field(description="Males.")
    females: int = Field(description="Females.")
    hermaphrodites: int = Field(description="Hermaphrodites.")
    unknown: int = Field(description="Sex not known.")
    total: int = Field(description="All of them.")
    missing: int = Field(description="Of all: missing.")


class StockOut(PageOut):
    """A stock list."""

    as_of: date = Field(description="At the end of this day.")
    rows: list[StockRowOut] = Field(description="Rows of this part.")


class PermitRowOut(Schema):
    """One line of a permit: what was taken under it and what is left."""

    permit: str = Field(description="Number of the permit.")
    line: int | None = Field(description="Number of the line; null: no line covers it.")
    words: str = Field(description="The permit's own words.")
    names: list[str] = Field(description="Accepted names that it means.")
    limit: int | None = Field(description="How many may be taken; null: no limit.")
    per: str = Field(description="For what time the limit is.")
    unit: str = Field(description="Unit of the limit.")
    caught: int = Field(description="Caught.")
    let_go: int = Field(description="Let go on the spot.")
    died: int = Field(description="Died before they came into the stock.")
    kept: int = Field(description="Kept.")
    counted: int = Field(description="Counted against the limit.")
    left: int | None = Field(description="Left of the limit; null: no limit.")
    over: int | None = Field(description="Over the limit; null: not over.")


class PermitsOut(PageOut):
    """The permits' table."""

    as_of: date = Field(description="At the end of this day.")
    rows: list[PermitRowOut] = Field(description="Rows of this part, a permit's together.")


class EventRowOut(Schema):
    """One flow behind a figure and how it counts in it."""

    event: int = Field(description="Number of the event.")
    kind: str = Field(description="Kind of the event.")
    happened: str = Field(description="When it happened as the writer stated it, ISO 8601.")
    entered_at: datetime = Field(description="When it was entered.")
    entered_by: str = Field(description="Who entered it.")
    approved_by: str = Field(description="Who approved it; blank: nobody had to.")
    from_lot: str = Field(description="Lot that the animals leave.")
    from_account: str = Field(description="Place or outside cause that they leave.")
    to_lot: str = Field(description="Lot that they go to.")
    to_account: str = Field(description="Place or outside cause that they go to.")
    counts: int = Field(description="How the flow counts in the figure.")
    at_least: int | None = Field(
        description="The least that the number of the whole event can have been; nothing: not stated."
    )
    at_most: int | None = Field(description="The most that it can have been; nothing: not stated.")
    reason: str = Field(description="Reason and cause, as they were entered.")


class EventsOut(PageOut):
    """The events behind a figure; their sum, less what another column of deaths has, is the figure."""

    figure: int = Field(description="What stands in the report.")
    sum: int = Field(description="Sum of all flows, of every part.")
    rows: list[EventRowOut] = Field(description="Flows of this part, oldest first.")
