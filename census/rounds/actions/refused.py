"""What an action of the census says when it does nothing."""

from collections.abc import Sequence


class CensusRefused(Exception):
    """Nothing was done; ``problems`` says, one sentence each, what stands against it."""

    def __init__(self, *problems: str) -> None:
        super().__init__("\n".join(problems))
        self.problems: Sequence[str] = problems
