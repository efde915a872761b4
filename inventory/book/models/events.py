"""What happened, and the flows of animals that it made. Both tables are append-only."""

from django.db import models
from django.db.models import F, Q

from inventory.db import triggers
from inventory.db.triggers import Trigger
from inventory.people.models import Person

from ..rules.kinds import EventKind
from .cells import Cell


class Event(models.Model):
    """One happening, entered once. Corrected only by another event that reverses it.

    ``happened`` is the writer's own statement in ISO 8601 (a day, a minute, or an interval
    ``START/END``); ``effective_at`` is the moment from which the book counts it.
    ``entered_at`` is when somebody entered it (a slip's typing, a tablet's saving);
    ``recorded_at`` is when the ledger took it.
    """

    id = models.BigIntegerField(primary_key=True, help_text="Place in the chain: 1, 2, 3 with no gap.")
    identifier = models.UUIDField(unique=True, help_text="Made by the client; the same twice is one event.")
    ref = models.CharField(max_length=120, blank=True, help_text="The writer's own name for it.")
    kind = models.CharField(max_length=16, choices=[(kind.value, kind.value) for kind in EventKind])
    happened = models.CharField(max_length=60)
    effective_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="events_entered")
    recorded_at = models.DateTimeField()
    approved_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="events_approved"
    )
    device = models.CharField(max_length=60, blank=True)
    party = models.CharField(max_length=120, blank=True)
    permit_number = models.CharField(max_length=60, blank=True)
    cause = models.CharField(max_length=120, blank=True)
    reason = models.CharField(max_length=120, blank=True)
    evidence = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)
    reverses = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversed_by"
    )
    content_hash = models.CharField(max_length=64, help_text="SHA-256 of what the client sent.")
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["effective_at"]),
            models.Index(fields=["entered_at"]),
            models.Index(fields=["ref"]),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.happened}"


class Flow(models.Model):
    """Animals, ``n`` of them, from one cell to another.

    The two moments are the event's, repeated here so that balances as of a day, as known at
    another, come out of one covering index.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="flows")
    from_cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="flows_out", db_index=False)
    to_cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="flows_in", db_index=False)
    n = models.PositiveIntegerField()
    effective_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    reversal = models.BooleanField(
        default=False, db_default=False, help_text="Takes a flow back; reports cancel it in its column."
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(n__gte=1), name="flow_of_one_or_more"),
            models.CheckConstraint(condition=~Q(from_cell=F("to_cell")), name="flow_has_two_ends"),
        ]
        indexes = [
            # The number stands in the key: Index(include=...) is dropped on SQLite.
            models.Index(fields=["from_cell", "effective_at", "entered_at", "n"], name="flow_out_of_cell"),
            models.Index(fields=["to_cell", "effective_at", "entered_at", "n"], name="flow_into_cell"),
            models.Index(
                fields=["effective_at", "entered_at", "from_cell", "to_cell", "reversal", "n"],
                name="flow_by_moment",
            ),
            models.Index(
                fields=["entered_at", "effective_at", "from_cell", "to_cell", "n"], name="flow_by_entry"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.n}: {self.from_cell_id} to {self.to_cell_id}"


_HELD_SQLITE = """
CREATE TRIGGER "book_flow_keeps_balances" AFTER INSERT ON "book_flow" BEGIN
  UPDATE book_cell SET balance = balance - NEW.n WHERE id = NEW.from_cell_id;
  UPDATE book_cell SET balance = balance + NEW.n WHERE id = NEW.to_cell_id;
  UPDATE book_lot SET held = held + NEW.n * (
      (SELECT CASE WHEN c.inside THEN 1 ELSE 0 END FROM book_cell c
         WHERE c.id = NEW.to_cell_id AND c.lot_id = book_lot.id
       UNION ALL SELECT 0 LIMIT 1)
    - (SELECT CASE WHEN c.inside THEN 1 ELSE 0 END FROM book_cell c
         WHERE c.id = NEW.from_cell_id AND c.lot_id = book_lot.id
       UNION ALL SELECT 0 LIMIT 1))
  WHERE id IN (SELECT lot_id FROM book_cell WHERE id IN (NEW.from_cell_id, NEW.to_cell_id));
END
"""

# Once for each statement and not for each row: PostgreSQL keeps every version that a transaction
# makes of a row until its end, and a thousand updates of one busy cell would each wade through
# those before.
_HELD_POSTGRESQL = """
CREATE OR REPLACE FUNCTION "book_flow_keep_balances"() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  UPDATE book_cell c SET balance = c.balance + s.n
    FROM (SELECT e.cell, SUM(e.n) AS n
            FROM (SELECT to_cell_id AS cell, n FROM added
                  UNION ALL SELECT from_cell_id, -n FROM added) e
           GROUP BY e.cell) s
   WHERE c.id = s.cell AND s.n <> 0;
  UPDATE book_lot l SET held = l.held + s.n
    FROM (SELECT c.lot_id, SUM(e.n) AS n
            FROM (SELECT to_cell_id AS cell, n FROM added
                  UNION ALL SELECT from_cell_id, -n FROM added) e
            JOIN book_cell c ON c.id = e.cell
           WHERE c.inside
           GROUP BY c.lot_id) s
   WHERE l.id = s.lot_id AND s.n <> 0;
  RETURN NULL;
END $$
"""

EVENT_TRIGGERS = [
    *triggers.append_only("book_event"),
    *triggers.append_only("book_flow"),
    Trigger(
        name="book_flow_keeps_balances",
        table="book_flow",
        sqlite=(_HELD_SQLITE,),
        postgresql=(
            _HELD_POSTGRESQL,
            'CREATE TRIGGER "book_flow_keeps_balances" AFTER INSERT ON "book_flow" '
            'REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION "book_flow_keep_balances"()',
        ),
    ),
]
triggers.declare(*EVENT_TRIGGERS)
