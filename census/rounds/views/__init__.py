"""Pages of the census: who counts sees a sheet, who decides sees the differences."""

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
# Who may see the book beside the counts; a counter who only counts never does.
COMPARES = (Role.REGISTRAR, Role.CURATOR, Role.PERMIT_OFFICER, Role.INSPECTOR)
# Who opens, issues, asks for recounts and decides.
DECIDES = (Role.REGISTRAR, Role.CURATOR)
SIGNS = (Role.CURATOR,)
