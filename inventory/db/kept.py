"""Keeps connections open between requests, and lets go of one that is good for nothing any more.

To open a connection to SQLite takes as long as half an entry, and the last one that closes writes the whole
log back into the file and waits for the disk. But a restored backup is another file under the same name. A
connection to PostgreSQL ends with its server, which says so on it before it hangs up: to look whether
anything was said asks nobody, where Django's own check asks the server before each request.
"""

import os
import select
from typing import Any

from django.core.signals import request_started
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created

_KEPT = "_tidetally_file"


def watch_files() -> None:
    """Begins to watch; called once, when Django is ready."""
    connection_created.connect(_note, dispatch_uid="inventory.db.kept.note")
    request_started.connect(let_go_of_replaced, dispatch_uid="inventory.db.kept.let_go")


def _note(connection: BaseDatabaseWrapper, **_: Any) -> None:
    connection.__dict__[_KEPT] = _file_of(connection)


def let_go_of_replaced(**_: Any) -> None:
    """Before each request: closes what is open on a file that is no longer there under its name, and what
    its server has spoken on unasked."""
    for connection in connections.all(initialized_only=True):
        if connection.connection is None or connection.in_atomic_block:
            continue
        if connection.__dict__.get(_KEPT) != _file_of(connection) or _spoken_on(connection):
            connection.close()


def opened_on(connection: BaseDatabaseWrapper) -> tuple[int, int] | None:
    """The file that a connection was opened on, whatever stands under its name by now; None for no file."""
    connection.ensure_connection()
    file: tuple[int, int] | None = connection.__dict__.get(_KEPT)
    return file


def _spoken_on(connection: BaseDatabaseWrapper) -> bool:
    """Whether PostgreSQL has said something between two requests: that it stops, or (seldom) a word that
    needs no answer; a new connection is right after both."""
    if connection.vendor != "postgresql":
        return False
    pgconn = connection.connection.pgconn
    if pgconn.status != 0:  # libpq's CONNECTION_OK
        return True
    heard = select.poll()
    heard.register(pgconn.socket, select.POLLIN)
    return bool(heard.poll(0))


def _file_of(connection: BaseDatabaseWrapper) -> tuple[int, int] | None:
    """Which file it is, whatever its name; None where the database is no file."""
    if connection.vendor != "sqlite":
        return None
    try:
        found = os.stat(str(connection.settings_dict["NAME"]))
    except OSError:
        return None
    return found.st_dev, found.st_ino
