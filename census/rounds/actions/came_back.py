"""What the registrar does about counts that came back from devices. Nothing that anybody sent is lost."""

from datetime import datetime
from typing import Any

from django.db import transaction

from inventory.people.models import Person

from ..models import CameBackAnswer, CountEntry
from ..queries.came_back import waiting
from ..rules.who import DECIDES
from ..rules.words import CameBackAs
from .allowed import require
from .device_counts import ReceivedCount, take_device_counts
from .refused import CensusRefused


@transaction.atomic
def answer_came_back(
    *, entry: CountEntry, outcome: CameBackAs, why: str, by: Person, now: datetime
) -> CameBackAnswer:
    """Sets an entry that came back aside: its numbers were typed, or none is to be entered. Says why."""
    require(by, DECIDES, "answer counts that came back")
    if not why.strip():
        raise CensusRefused("Say why.")
    held = _waiting(entry)
    return CameBackAnswer.objects.create(
        entry=held, outcome=outcome.value, why=why.strip()[:300], by=by, at=now
    )


def take_again(*, entry: CountEntry, received: ReceivedCount, by: Person, now: datetime) -> dict[str, Any]:
    """Takes the entry once more, as it was sent and in the name of who counted, under a new identifier.

    For what stood against it is often mended since: the sheet was not issued, a counter not named.
    ``received`` is the entry read again, as the one that replaces it. The answer is that of a device;
    where it comes back again, the new one waits in its stead, with what stands against it now.
    """
    require(by, DECIDES, "take counts that came back")
    held = _waiting(entry)
    if received.counted is None or received.counted.replaces != held.identifier:
        raise CensusRefused("It cannot be read; type what the paper or the device says on the sheet.")
    return take_device_counts([received], device=held.device, sent_at=now, now=now)[0]


def _waiting(entry: CountEntry) -> CountEntry:
    held = waiting().filter(pk=entry.pk).first()
    if held is None:
        raise CensusRefused("This was answered already, or sent again since.")
    return held
