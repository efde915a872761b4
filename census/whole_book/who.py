"""Who may take the whole book out."""

from inventory.people.rules.roles import Role
from inventory.permits.who import KEEPS

TAKES_OUT = (Role.REGISTRAR, Role.PERMIT_OFFICER, Role.CURATOR, Role.ADMINISTRATOR, Role.INSPECTOR)
# To them exact places of wild animals go out too.
POSITIONS = KEEPS
# Who reads what inspectors found; those of SAMPLES of the census may draw.
READS_INSPECTIONS = (Role.REGISTRAR, Role.PERMIT_OFFICER, Role.CURATOR, Role.INSPECTOR, Role.ADMINISTRATOR)
