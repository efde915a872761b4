"""Which animals hunt those that live with them."""

HUNTERS = frozenset(
    {
        "Congridae", "Cottidae", "Eledonidae", "Lophiidae", "Muraenidae", "Octopodidae", "Scorpaenidae",
        "Serranidae", "Anarhichadidae",
    }
)  # fmt: skip
"""Families whose animals wait for or hunt fish and crustaceans in the tank with them, mostly by night.

*Common practice, no source*: a help to think of it, never proof.
"""
