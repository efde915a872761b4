"""Passkeys with the browser's own authenticator, and how the pages of the sign-in look.

The authenticator is Chromium's virtual one (WebAuthn, section 11: user agent automation). Rules of
accessibility as in ``test_pages.py``.
"""

import base64
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from playwright.sync_api import BrowserContext, CDPSession, Page, expect
from pytest_django import Settings

from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .. import factories
from .test_pages import violations

pytestmark = pytest.mark.browser

PASSWORD = "wet hands, no signal"


@pytest.fixture
def jory(transactional_db: None) -> Person:
    """An aquarist who signs in by password alone."""
    factories.make_house(name="Skerry Aquarium")
    return factories.make_person("Jory Penhalloway", roles=[Role.AQUARIST], password=PASSWORD)


def _keyring(context: BrowserContext, page: Page) -> tuple[CDPSession, str]:
    """An authenticator of the machine itself, whose owner is there and says yes."""
    browser = context.new_cdp_session(page)
    browser.send("WebAuthn.enable")
    added = browser.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )
    return browser, str(added["authenticatorId"])


def _signs_in(page: Page, person: Person, site: object, *, to: str = "/my-sign-in") -> None:
    assert person.user is not None
    page.goto(f"{site}/sign-in?next={to}")
    page.get_by_label("Sign-in name").fill(person.user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def _types_passkey(page: Page, name: str) -> None:
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Add it").click()


def _keys(keyring: CDPSession, number: str) -> list[dict[str, Any]]:
    """What the authenticator holds."""
    held = keyring.send("WebAuthn.getCredentials", {"authenticatorId": number})["credentials"]
    return list(held)


def _another_key() -> str:
    """A private key of the same kind (ES256), as Chromium takes it: PKCS #8 in base64."""
    key = ec.generate_private_key(ec.SECP256R1())
    form = (serialization.Encoding.DER, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    return base64.b64encode(key.private_bytes(*form)).decode()


def _signs_out(page: Page) -> None:
    page.get_by_role("button", name="Sign out", exact=True).click()
    page.wait_for_url("**/sign-in")


def _problems(page: Page, name: str) -> dict[str, list[str]]:
    """What keeps somebody from using this page: wide and on a phone, in the light and in the dark."""
    found: dict[str, list[str]] = {}
    for width, scheme in ((1280, "dark"), (360, "dark"), (1280, "light"), (360, "light")):
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        told = found.setdefault(f"{name}, {width}, {scheme}", [])
        if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
            told.append("wider than the window")
        # Which elements there are does not hang on the light, nor the colours on the width.
        if width == 360:
            told += violations(page, only="color-contrast" if scheme == "dark" else "")
    return {where: told for where, told in found.items() if told}


def test_a_passkey_is_added_and_signs_in(
    jory: Person, context: BrowserContext, page: Page, live_server: object
) -> None:
    keyring, number = _keyring(context, page)
    _signs_in(page, jory, live_server)
    page.get_by_role("link", name="Add a passkey").click()
    _types_passkey(page, "Wet-lab tablet")
    expect(page.get_by_text("The passkey is in use from your next sign-in on.")).to_be_visible()
    expect(page.locator("main ol li")).to_have_count(10)
    assert [one["rpId"] for one in _keys(keyring, number)] == ["localhost"]
    page.get_by_role("link", name="I have them").click()
    expect(page.get_by_role("rowheader", name="Passkey Wet-lab tablet")).to_be_visible()

    _signs_out(page)
    _signs_in(page, jory, live_server, to="/lots")
    page.wait_for_url("**/sign-in/second?next=/lots")
    page.get_by_role("button", name="Use a passkey").click()
    page.wait_for_url(f"{live_server}/lots")
    assert Authenticator.objects.get(type=Authenticator.Type.WEBAUTHN).last_used_at is not None


def test_a_passkey_is_not_made_before_the_form_is_filled_in(
    jory: Person, context: BrowserContext, page: Page, live_server: object
) -> None:
    keyring, number = _keyring(context, page)
    _signs_in(page, jory, live_server, to="/my-sign-in/passkey")
    page.get_by_role("button", name="Add it").click()
    assert page.get_by_label("Name").evaluate("field => field === document.activeElement")
    assert _keys(keyring, number) == []
    page.get_by_label("Name").fill("Blue key")
    page.get_by_label("Password").fill("not the password")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_text("this is not your password; nothing was changed")).to_be_visible()
    assert not Authenticator.objects.exists()


def test_whoever_declines_or_has_another_key_is_told_and_not_let_in(
    jory: Person, context: BrowserContext, page: Page, live_server: object
) -> None:
    keyring, number = _keyring(context, page)
    _signs_in(page, jory, live_server, to="/my-sign-in/passkey")
    _types_passkey(page, "Blue key")
    page.get_by_role("link", name="I have them").click()
    _signs_out(page)

    kept = _keys(keyring, number)
    keyring.send("WebAuthn.clearCredentials", {"authenticatorId": number})
    _signs_in(page, jory, live_server, to="/lots")
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("alert").filter(has_text="The passkey was not taken.")).to_be_visible()

    # The right number, signed by a key that the house has never seen.
    forged = {**kept[0], "privateKey": _another_key()}
    keyring.send("WebAuthn.addCredential", {"authenticatorId": number, "credential": forged})
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_text("it is not one of this sign-in")).to_be_visible()
    page.goto(f"{live_server}/lots")
    page.wait_for_url("**/sign-in/second?next=/lots")


def test_the_pages_before_anybody_is_in_fit_a_phone_and_are_open_to_all(
    jory: Person, context: BrowserContext, live_server: object, settings: Settings
) -> None:
    settings.AXES_ENABLED, settings.AXES_FAILURE_LIMIT = True, 2
    # No watched page: the browser notes an answer of 429 as an error.
    page = context.new_page()
    page.goto(f"{live_server}/sign-in?next=/lots")
    problems = _problems(page, "sign-in")
    for name, words in (("wrong password", "do not belong together"), ("locked", "This name is locked")):
        page.get_by_label("Sign-in name").fill("jory")
        page.get_by_label("Password").fill("wrong")
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_text(words)).to_be_visible()
        problems |= _problems(page, name)
    assert problems == {}


def test_the_pages_of_the_own_sign_in_fit_a_phone_and_are_open_to_all(
    jory: Person, page: Page, live_server: object
) -> None:
    _signs_in(page, jory, live_server)
    expect(page.get_by_text("You have none yet.")).to_be_visible()
    problems = _problems(page, "my sign-in, nothing set up")
    page.get_by_role("link", name="Add an authenticator app").click()
    page.get_by_label("What the app shows now").fill("000000")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Take it into use").click()
    expect(page.get_by_text("This is not the code that the app shows now.")).to_be_visible()
    problems |= _problems(page, "app")
    page.goto(f"{live_server}/my-sign-in")
    for label, typed in (("Your password", "no"), ("New password", "short"), ("The same again", "other")):
        page.get_by_label(label).fill(typed)
    page.get_by_role("button", name="Change the password").click()
    expect(page.get_by_text("this is not your password")).to_be_visible()
    problems |= _problems(page, "password")
    for label, typed in (("Your password", PASSWORD), ("New password", "short"), ("The same again", "short")):
        page.get_by_label(label).fill(typed)
    page.get_by_role("button", name="Change the password").click()
    expect(page.get_by_text("This password is too short")).to_be_visible()
    problems |= _problems(page, "password too short")
    assert problems == {}


def test_the_pages_of_a_second_factor_fit_a_phone_and_are_open_to_all(
    jory: Person, context: BrowserContext, page: Page, live_server: object
) -> None:
    _keyring(context, page)
    _signs_in(page, jory, live_server, to="/my-sign-in/passkey")
    problems = _problems(page, "passkey")
    _types_passkey(page, "A key with quite a long name, on the ring of the quarantine")
    expect(page.locator("main ol li")).to_have_count(10)
    problems |= _problems(page, "recovery codes")
    page.get_by_role("link", name="I have them").click()
    problems |= _problems(page, "my sign-in")
    # On a phone the name of a key does not lie over what is done with it.
    page.get_by_role("link", name="out of use").click(timeout=5_000)
    page.get_by_label("Your password").fill("no")
    page.get_by_role("button", name="Take it out of use").click()
    expect(page.get_by_text("this is not your password")).to_be_visible()
    problems |= _problems(page, "out of use")
    _signs_out(page)
    _signs_in(page, jory, live_server)
    page.get_by_label("Code").fill("000 000")
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_text("This was not taken.")).to_be_visible()
    problems |= _problems(page, "second step")
    assert problems == {}
