"""Who may take the whole book out."""

from inventory.people.rules.roles import Role
from inventory.permits.who import KEEPS

TAKES_OUT = (Role.REGISTRAR, Role.PERMIT_OFFICER, Role.CURATOR, Role.ADMINISTRATOR, Role.INSPECTOR)
# To them exact places of wild animals go out too.
POSITIONS = KEEPS
