"""Lines of JSON for the machine's log, without anybody's name in them.

An address of a page may hold an accession or a name, a message of a library the name of who signed in, and
an error's words whatever was typed. So a line says which route, never which address; a library's message is
written without what was put into it; an error is its kind and where it was raised, without its words.
"""

import logging
import traceback
from contextvars import ContextVar
from typing import Any

from pythonjsonlogger.json import JsonFormatter

# The number of the request that is being answered; it stands in the answer's header too.
request_number: ContextVar[str] = ContextVar("request_number", default="")
_OURS = ("inventory.", "census.", "tests.")
# What a line of ours may say beside its message; anything else stays out.
_SAID = ("request", "route", "method", "status", "ms")


class HouseFormatter(JsonFormatter):
    """``{"time", "level", "logger", "message", "request", ...}``, one line each."""

    def __init__(self) -> None:
        super().__init__("%(levelname)s %(name)s", rename_fields={"levelname": "level", "name": "logger"})

    def process_log_record(self, log_data: dict[str, Any]) -> dict[str, Any]:
        """Keeps what may be said, in the order in which it is read."""
        order = ("time", "level", "logger", "message", *_SAID, "error", "where")
        return {name: log_data[name] for name in order if log_data.get(name) not in (None, "")}

    def add_fields(
        self, log_data: dict[str, Any], record: logging.LogRecord, message_dict: dict[str, Any]
    ) -> None:
        super().add_fields(log_data, record, {})
        log_data["time"] = self.formatTime(record, "%Y-%m-%dT%H:%M:%S%z")
        log_data["message"] = record.getMessage() if record.name.startswith(_OURS) else str(record.msg)
        log_data["request"] = request_number.get()
        for name in _SAID:
            if hasattr(record, name) and name != "request":
                log_data[name] = getattr(record, name)
        if record.exc_info and record.exc_info[0]:
            kind, _, trail = record.exc_info
            log_data["error"] = kind.__name__
            frames = traceback.extract_tb(trail)[-8:]
            log_data["where"] = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames]


def settings_for(form: str) -> dict[str, Any]:
    """Django's LOGGING: ``form`` is "json", with a line for each request, or "plain", for people."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": {"()": HouseFormatter}, "plain": {"format": "%(message)s"}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": form}},
        "root": {"handlers": ["stderr"], "level": "WARNING"},
        "loggers": {
            # It warns whenever a request waits for a thread, which is what they do.
            "waitress.queue": {"level": "ERROR"},
            # Django's own handler for the server of `runserver` would write the line a second time.
            "django": {"handlers": [], "level": "WARNING", "propagate": True},
            "inventory.site.observing": {"level": "INFO" if form == "json" else "WARNING"},
        },
    }
