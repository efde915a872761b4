"""Reminders as an iCalendar feed (RFC 5545), written by the icalendar library.

A feed is copied to phones and to servers of others, so that it names papers and never an animal, a tank
or a place.
"""

from collections.abc import Collection, Iterable
from datetime import datetime, timedelta
from urllib.parse import urlsplit

import icalendar

from ..rules.reminders import About, Reminder

# Days before: alarms of what has no steps of its own.
_NEAR = (1,)


def feed_of(
    found: Iterable[Reminder], *, name: str, address: str, steps: Collection[int], now: datetime
) -> bytes:
    """One all-day event for each reminder, on its last day. ``address`` is where the site stands."""
    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//Tidetally//reminders//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", timedelta(hours=12), parameters={"VALUE": "DURATION"})
    host = urlsplit(address).hostname or "localhost"
    for one in found:
        calendar.add_component(_event(one, host, address, steps, now))
    return bytes(calendar.to_ical())


def _event(one: Reminder, host: str, address: str, steps: Collection[int], now: datetime) -> icalendar.Event:
    event = icalendar.Event()
    summary = f"{one.about.words.capitalize()}: {one.subject}"
    event.add("uid", f"{one.key}@{host}")
    event.add("dtstamp", now)
    event.add("dtstart", one.due_on)
    event.add("dtend", one.due_on + timedelta(days=1))
    event.add("summary", summary)
    event.add("description", f"{one.detail}\nThis is a reminder: the paper and the authority decide.".strip())
    event.add("url", f"{address}{one.path}")
    event.add("categories", [one.about.words])
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT")
    for days in sorted(_NEAR if one.about is About.NOTICE else steps, reverse=True):
        alarm = icalendar.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", summary)
        alarm.add("trigger", timedelta(days=-days))
        event.add_component(alarm)
    return event
