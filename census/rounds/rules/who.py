"""Who may do which step of a census."""

from collections.abc import Collection

from inventory.people.rules.roles import Role

# Who may count and type on a sheet.
COUNTS = (
    Role.COUNTER,
    Role.AQUARIST,
    Role.TYPIST,
    Role.VETERINARIAN,
    Role.REGISTRAR,
    Role.CURATOR,
)
# Who may be asked to count: a typist types what others counted.
COUNTERS = tuple(role for role in COUNTS if role is not Role.TYPIST)
# A letter of a borrower is typed by the permit officer as well, who looks after the loans.
TYPES_LETTERS = (*COUNTS, Role.PERMIT_OFFICER)
# Who may see the book beside the counts; a counter who only counts never does.
COMPARES = (Role.REGISTRAR, Role.CURATOR, Role.PERMIT_OFFICER, Role.INSPECTOR)
# Who opens, issues, asks for recounts and decides.
DECIDES = (Role.REGISTRAR, Role.CURATOR)
SIGNS = (Role.CURATOR,)
# Who answers what waits for approval; each the cases of the own role.
ANSWERS = (Role.REGISTRAR, Role.CURATOR, Role.PERMIT_OFFICER)
# Who may run a sample test; an inspector changes nothing by it.
SAMPLES = (Role.REGISTRAR, Role.CURATOR, Role.INSPECTOR)
# A counter with none of these is a trained volunteer.
_STAFF = frozenset({Role.AQUARIST, Role.VETERINARIAN, Role.REGISTRAR, Role.CURATOR})
# What a trained volunteer counts, with an aquarist; lines without a class stand apart.
VOLUNTEER_CLASSES = ("B", "C", "")


def is_volunteer(roles: Collection[Role]) -> bool:
    """True for a counter who is no aquarist, veterinarian, registrar or curator."""
    return Role.COUNTER in roles and _STAFF.isdisjoint(roles)
