"""The databases of a house by the environment: patience, pool and copy for reports. Read by the settings."""

import os
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from .replica import ALIAS


def _number(name: str, default: int) -> int:
    text = os.environ.get(name, "") or str(default)
    if not text.isdecimal():
        raise ImproperlyConfigured(f"{name} is {text!r}; expected a whole number")
    return int(text)


# Seconds for which a writer waits for another; then the device is told to send again.
PATIENCE = _number("TIDETALLY_PATIENCE", 20)
# Connections of each process that its threads share; 0: each thread keeps its own.
POOL = _number("TIDETALLY_POOL", 0)
# 0: behind a pooler that lends a connection for one transaction only and forgets prepared statements.
PREPARED = _number("TIDETALLY_PREPARED", 1)


def from_url(url: str, *, only_read: bool = False) -> dict[str, Any]:
    """PostgreSQL (or what the address names), with patience, and a pool where one is asked for."""
    # A connection whose server is gone is noticed by inventory.db.kept, one of a pool by the pool.
    told: dict[str, Any] = dict(dj_database_url.parse(url, conn_max_age=60, conn_health_checks=bool(POOL)))
    if not str(told["ENGINE"]).endswith("postgresql"):
        return told
    words = f"-c lock_timeout={PATIENCE * 1_000}"
    if only_read:
        words += " -c default_transaction_read_only=on"
    options: dict[str, Any] = {**told.get("OPTIONS", {})}
    options["options"] = f"{words} {options.get('options', '')}".strip()
    if PREPARED:
        # What inventory.db.trips asks is planned once for each connection; Django's own statements never are.
        options["prepare_threshold"] = 0
    if POOL:
        # Half a minute in the queue, as long as a device waits, and then 503.
        options["pool"] = {"min_size": 1, "max_size": POOL, "timeout": 20}
        told["CONN_MAX_AGE"] = 0  # the pool keeps them
    return {**told, "OPTIONS": options}


def copy_for_reports() -> dict[str, dict[str, Any]]:
    """The alias of the copy, when ``DATABASE_REPLICA_URL`` names one; tests see the same database in it."""
    url = os.environ.get("DATABASE_REPLICA_URL", "")
    return {ALIAS: {**from_url(url, only_read=True), "TEST": {"MIRROR": "default"}}} if url else {}
