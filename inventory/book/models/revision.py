"""A number that grows whenever something changes that reports read and the ledger does not hold.

Events, flows and closings are append-only, so the head of the chain and the newest closing say whether
they are still the same. Names, owners and kinds of places may be changed: triggers count that, whoever
does it. With both, a figure that was worked out once is known to be still right (or not).
"""

from django.db import models

from inventory.db import triggers
from inventory.db.triggers import Trigger


class Revision(models.Model):
    """One row, made by the migration. ``n`` is moved by the triggers below and by nobody else."""

    n = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return str(self.n)


# (table, what counts): cached numbers of a lot do not, or every event would.
_COUNTED = (
    ("book_lot", 'UPDATE OF "accession", "taxon_id", "kind", "unit", "owner", "count_class"'),
    ("book_place", "UPDATE"),
    ("names_taxon", "UPDATE"),
    ("names_movedlot", "INSERT"),
    ("names_releaseadoption", "INSERT"),
)
_FUNCTION = """
CREATE OR REPLACE FUNCTION "book_revise"() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN UPDATE book_revision SET n = n + 1; RETURN NULL; END $$
"""

REVISION_TRIGGERS = [
    Trigger(
        name=f"{table}_revises",
        table=table,
        sqlite=(
            f'CREATE TRIGGER "{table}_revises" AFTER {what} ON "{table}" '
            "BEGIN UPDATE book_revision SET n = n + 1; END",
        ),
        postgresql=(
            _FUNCTION,
            f'CREATE TRIGGER "{table}_revises" AFTER {what} ON "{table}" '
            'FOR EACH STATEMENT EXECUTE FUNCTION "book_revise"()',
        ),
    )
    for table, what in _COUNTED
]
triggers.declare(*REVISION_TRIGGERS)
