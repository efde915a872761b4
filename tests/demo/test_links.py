"""No link of the pages that everybody opens ends at a refusal, whoever looks."""

import re
from html import unescape

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse

from inventory.book.models import Event
from inventory.permits.models import Permit

from .conftest import DemoHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
# Nobody of these counts on the demo's day: who counts is refused numbers for that time, whatever the role.
READERS = ("maren", "osric", "tamsin", "ruadh", "sella")


def _pages() -> list[str]:
    late = Event.objects.latest("id")
    return [
        reverse("today"),
        reverse("reports"),
        reverse("event", args=[late.pk]),
        *(reverse("history", args=["permit", permit.number]) for permit in Permit.objects.all()),
        reverse("history", args=["lot", "0001702"]),
        f"{reverse('report', args=['stock-list'])}?from=2025-01-01&to=2025-12-31",
    ]


def _links(page: str) -> set[str]:
    main = page.partition("<main")[2].partition("</main>")[0]
    found = {unescape(href).partition("#")[0] for href in re.findall(r'href="(/[^"]*)"', main)}
    # What makes a file is asked with its page, and takes longer than a look.
    return {href for href in found if not re.search(r"\.(xlsx|pdf|csv|dwca)\b", href)}


@pytest.mark.parametrize("who", READERS)
def test_no_link_ends_at_a_refusal(house: DemoHouse, who: str) -> None:
    client = Client()
    client.force_login(get_user_model().objects.get(username=who))
    refused: dict[str, str] = {}
    for page in _pages():
        answer = client.get(page)
        assert answer.status_code == 200, page
        links = _links(answer.content.decode())
        assert links, page
        refused |= {link: page for link in links if client.get(link).status_code == 403}
    assert refused == {}


def test_what_others_look_into_is_told_though_it_is_not_opened(house: DemoHouse) -> None:
    client = Client()
    client.force_login(get_user_model().objects.get(username="sella"))
    page = client.get(reverse("today")).content.decode()
    others = page.partition("What others look into")[2]
    assert "Permits: cases to settle: 3" in re.sub(r"<[^>]+>", "", others)
    assert f'href="{reverse("cases")}"' not in others
