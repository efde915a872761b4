"""Who may take an event back, and when a second person must agree.

Common practice, no source: small slips by their own author within ten minutes need
no approval; everything else is approved by somebody else than the one who corrects.
"""

from datetime import datetime, timedelta

OWN_SLIP = timedelta(minutes=10)


def is_own_slip(*, by: str, entered_by: str, entered_at: datetime, now: datetime) -> bool:
    """True when ``by`` entered it, not more than ten minutes ago."""
    return by == entered_by and timedelta() <= now - entered_at <= OWN_SLIP
