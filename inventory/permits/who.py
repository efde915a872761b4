"""Which roles may do what with permits. Everybody who is signed in may read what is left."""

from inventory.people.rules.roles import Role

# Who enters permits, corrects takes, keeps loans.
KEEPS = (Role.PERMIT_OFFICER, Role.REGISTRAR)
# Who brings a slip in.
TAKES = (Role.AQUARIST, Role.TYPIST, Role.REGISTRAR, Role.PERMIT_OFFICER, Role.CURATOR)
# Who agrees with somebody else's correction of a take or a trip.
APPROVES = (Role.CURATOR, Role.REGISTRAR, Role.PERMIT_OFFICER)
# Who reads what went wrong.
READS_CASES = (Role.PERMIT_OFFICER, Role.REGISTRAR, Role.CURATOR, Role.INSPECTOR)
# Who is reminded of expiry, returns, notices and loans, by page, e-mail and calendar.
REMINDED = (Role.PERMIT_OFFICER, Role.REGISTRAR)
# Who reads the yearly report on trade.
READS_TRADE = (Role.PERMIT_OFFICER, Role.REGISTRAR, Role.CURATOR, Role.INSPECTOR)
