"""Which roles may set or say what on the tank side's pages."""

from inventory.book.who import RECORDS
from inventory.people.rules.roles import Role

# Whoever decides what a name stands for; and for one lot, whoever records what happens to it.
SETS_PICTURES_OF_TAXA = (Role.REGISTRAR, Role.CURATOR)
SETS_PICTURES_OF_LOTS = RECORDS
SETTLES_UNLISTED = (Role.REGISTRAR,)
# The registrar types what a laboratory wrote.
STATES_CAUSES = (Role.VETERINARIAN, Role.REGISTRAR)
SEES_ALARMS = (Role.CURATOR, Role.VETERINARIAN)
SEES_INTRODUCED = (Role.PERMIT_OFFICER,)
