"""How a route of the programming interface says no: one shape for all rooms."""


class Refused(Exception):
    """Answered with ``status`` and a body of ``detail`` (for people) and ``reason`` (for programs)."""

    def __init__(self, status: int, detail: str, reason: str) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.reason = reason
