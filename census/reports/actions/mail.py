"""Says by the house's e-mail that a saved report is made. No figure leaves the house: only its name."""

import logging

from django.conf import settings
from django.core.mail import EmailMessage, get_connection

from inventory.people.queries import the_house

from ..models import ReportJob

log = logging.getLogger(__name__)


def tell_of(job: ReportJob) -> bool:
    """Sends to who saved the report; False when no mail is set up or that person has no address.

    A letter that fails is not sent again: the file and its state stand on the page all the same.
    """
    assert job.saved is not None
    person = job.saved.made_by
    to = person.user.email if person.user else ""
    if not settings.EMAIL_HOST or not to or person.left_on:
        return False
    house = the_house()
    if job.state == ReportJob.State.DONE:
        told = f"“{job.saved}” is made: {job.title}."
    else:
        told = f"“{job.saved}” could not be made: {job.reason}."
    text = f"{told}\n\nIt stands on the page Reports, under Made files. You find it there after signing in.\n"
    try:
        EmailMessage(
            subject=f"{house.name if house else 'Tidetally'}: {job.saved}",
            body=text,
            to=[to],
            connection=get_connection(fail_silently=False),
        ).send()
    except Exception as error:
        log.warning("The letter about report %s was not sent: %s", job.pk, type(error).__name__)
        return False
    return True
