"""How much there is of life that nobody counts. Pure."""

# Marine Nature Conservation Review: superabundant, abundant, common, frequent, occasional, rare
# (Hiscock 1996, abundance scales; from memory). Most to least.
ABUNDANCE = {
    "S": "superabundant",
    "A": "abundant",
    "C": "common",
    "F": "frequent",
    "O": "occasional",
    "R": "rare",
}
