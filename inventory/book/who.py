"""Which roles may write what in the book. Everybody who is signed in may read."""

from inventory.people.rules.roles import Role

# What happens at the tank.
RECORDS = (Role.AQUARIST, Role.TYPIST, Role.REGISTRAR, Role.CURATOR, Role.VETERINARIAN)
# What crosses the house's wall with papers.
PAPERS = (Role.REGISTRAR, Role.PERMIT_OFFICER)
# Others than these take back their own fresh slips only.
CORRECTS = (Role.REGISTRAR, Role.CURATOR)
TAKES_BACK = (*RECORDS, Role.PERMIT_OFFICER)
APPROVES = (Role.REGISTRAR, Role.CURATOR)
# Who keeps which tank.
KEEPS_THE_LIST = (Role.REGISTRAR, Role.CURATOR)
# By which ways animals can leave a place unseen, and that they are shut.
NOTES_WAYS_OUT = (Role.AQUARIST, Role.REGISTRAR, Role.CURATOR, Role.VETERINARIAN)
