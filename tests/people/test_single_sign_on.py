"""Single sign-on with a provider on this machine: who is let in, and what of a provider is believed.

Sources of the checks: OpenID Connect Core 1.0 (3.1.3.7, what is validated of an ID token; 5.3.2, the subject
of the user's information), OpenID Connect Discovery 1.0 (4.3, the issuer), RFC 7636 (PKCE), RFC 8725 (3.1 and
3.2, algorithms of a token).
"""

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from allauth.socialaccount.models import SocialAccount
from cryptography.hazmat.primitives.asymmetric import rsa
from django.contrib.auth.models import User
from django.contrib.messages import get_messages
from django.test import Client
from pytest_django import Settings

from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..factories import make_house, make_person
from .provider import CLIENT, SECRET, Provider, running

pytestmark = pytest.mark.django_db
BEGIN = "/sign-in/oidc/house/login/"
NOT_BELIEVED = "The identity provider did not sign you in. Try again, or use your password."


@pytest.fixture
def provider(settings: Settings) -> Iterator[Provider]:
    """A provider, and the house's settings for it."""
    with running() as provider:
        one = {
            "provider_id": "house", "name": "the house's account", "client_id": CLIENT, "secret": SECRET,
            "settings": {"server_url": provider.issuer},
        }  # fmt: skip
        settings.SOCIALACCOUNT_PROVIDERS = {"openid_connect": {"OAUTH_PKCE_ENABLED": True, "APPS": [one]}}
        settings.ROOT_URLCONF = "tests.people.single_sign_on_urls"
        yield provider


@pytest.fixture
def jory() -> Person:
    make_house()
    return _person("Jory Penhalloway", "jory@skerry.example", Role.AQUARIST)


def _person(name: str, email: str, *roles: Role) -> Person:
    person = make_person(name, roles=list(roles), signs_in=True)
    User.objects.filter(pk=_user(person).pk).update(email=email)
    return person


def _user(person: Person) -> User:
    assert person.user is not None
    return person.user


def _signs_on(client: Client, provider: Provider, to: str = "/lots") -> Any:
    """The whole way: the button here, the page there, and back; the last answer."""
    sent = client.post(f"{BEGIN}?next={to}")
    assert sent.status_code == 302
    return client.get(provider.signs_in(sent["Location"]))


def _told(answer: Any) -> list[str]:
    return [str(one) for one in get_messages(answer.wsgi_request)]


def _is_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


def test_who_has_a_sign_in_here_is_let_in_with_their_roles(
    jory: Person, provider: Provider, client: Client
) -> None:
    answer = _signs_on(client, provider)
    assert (answer.status_code, answer["Location"]) == (302, "/lots")
    assert client.get("/lots").status_code == 200
    assert client.session["_auth_user_id"] == str(_user(jory).pk)
    assert client.get("/people").status_code == 403, "an aquarist does not open the list of people"
    assert SocialAccount.objects.get().uid == provider.subject


def test_later_the_subject_decides_and_not_the_address(
    jory: Person, provider: Provider, client: Client
) -> None:
    _signs_on(client, provider)
    _person("Sella Ranmoor", "sella@skerry.example", Role.REGISTRAR)
    provider.email = "sella@skerry.example"
    again = Client()
    _signs_on(again, provider)
    assert again.session["_auth_user_id"] == str(_user(jory).pk)


@pytest.mark.parametrize(
    ("email", "verified"),
    [("stranger@skerry.example", True), ("jory@skerry.example", False), ("", True)],
)
def test_who_has_no_sign_in_here_is_turned_away(
    jory: Person, provider: Provider, client: Client, email: str, verified: bool
) -> None:
    before = User.objects.count()
    provider.email, provider.verified = email, verified
    answer = _signs_on(client, provider)
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in")
    assert "no sign-in here has your e-mail address" in _told(answer)[0]
    assert not _is_in(client)
    assert not SocialAccount.objects.exists()
    assert User.objects.count() == before, "nobody is made at the door"


def test_an_address_of_two_sign_ins_is_nobodys(jory: Person, provider: Provider, client: Client) -> None:
    _person("Jory the younger", "JORY@skerry.example", Role.CURATOR)
    assert "no sign-in here" in _told(_signs_on(client, provider))[0]
    assert not _is_in(client)


def test_who_has_left_is_turned_away_though_linked(jory: Person, provider: Provider, client: Client) -> None:
    _signs_on(client, provider)
    Person.objects.filter(pk=jory.pk).update(left_on=date(2020, 1, 1))
    again = Client()
    assert "has left the house" in _told(_signs_on(again, provider))[0]
    assert not _is_in(again)


def test_the_second_step_is_asked_for_all_the_same(jory: Person, provider: Provider, client: Client) -> None:
    TOTP.activate(_user(jory), "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ")
    RecoveryCodes.activate(_user(jory))
    _signs_on(client, provider)
    assert client.get("/lots")["Location"] == "/sign-in/second?next=/lots"


def test_the_way_back_leads_to_no_other_site(jory: Person, provider: Provider, client: Client) -> None:
    assert _signs_on(client, provider, "https://elsewhere.example/")["Location"] == "/"


def test_a_link_alone_signs_nobody_in(jory: Person, provider: Provider, client: Client) -> None:
    assert client.get(BEGIN).status_code == 405
    assert Client(enforce_csrf_checks=True).post(BEGIN).status_code == 403


OTHER_KEY = rsa.generate_private_key(public_exponent=65537, key_size=2048)
# What is spoilt, how, and why the house does not believe it.
SPOILT: dict[str, tuple[dict[str, Any], str]] = {
    "signed by another key": ({"key": OTHER_KEY}, "Signature verification failed"),
    "not signed": ({"algorithm": "none"}, "alg value is not allowed"),
    "signed with the public key as a secret": ({"algorithm": "HS256"}, "alg value is not allowed"),
    "another nonce": ({"claims": {"nonce": "of another sign-in"}}, "answers another request"),
    "no nonce": ({"claims": {"nonce": None}}, 'missing the "nonce" claim'),
    "for another client": ({"claims": {"aud": "another-client"}}, "Audience doesn't match"),
    "for several clients": ({"claims": {"aud": [CLIENT, "another"], "azp": "another"}}, "for another client"),
    "of another issuer": ({"claims": {"iss": "https://elsewhere.example"}}, "Invalid issuer"),
    "over": ({"claims": {"exp": 1_000_000_000}}, "Signature has expired"),
    "without an end": ({"claims": {"exp": None}}, 'missing the "exp" claim'),
    "about nobody": ({"claims": {"sub": None}}, 'missing the "sub" claim'),
    "about two": ({"userinfo": {"sub": "another"}}, "different subjects"),
}


@pytest.mark.parametrize(("spoilt", "why"), SPOILT.values(), ids=SPOILT)
def test_an_answer_that_does_not_hold_lets_nobody_in(
    jory: Person,
    provider: Provider,
    client: Client,
    caplog: pytest.LogCaptureFixture,
    spoilt: dict[str, Any],
    why: str,
) -> None:
    for name, value in spoilt.items():
        setattr(provider, name, value)
    answer = _signs_on(client, provider)
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in")
    assert _told(answer) == [NOT_BELIEVED]
    assert why in caplog.text
    assert not _is_in(client)
    assert not SocialAccount.objects.exists()


def test_a_state_of_nobody_of_another_browser_or_used_before_lets_nobody_in(
    jory: Person, provider: Provider, client: Client
) -> None:
    theirs = provider.signs_in(Client().post(BEGIN)["Location"])
    mine = provider.signs_in(client.post(BEGIN)["Location"])
    made_up = f"{mine.partition('state=')[0]}state=made-up"
    for address in (theirs, made_up, "/sign-in/oidc/house/login/callback/"):
        assert _told(client.get(address))[-1] == NOT_BELIEVED
        assert not _is_in(client)
    assert client.get(mine)["Location"] == "/"
    client.logout()
    assert client.get(mine)["Location"] == "/sign-in"


def test_who_says_no_at_the_provider_comes_back_to_the_sign_in(
    jory: Person, provider: Provider, client: Client
) -> None:
    there = provider.signs_in(client.post(BEGIN)["Location"])
    state = there.partition("state=")[2]
    answer = client.get(f"{BEGIN}callback/?error=access_denied&state={state}")
    assert (answer["Location"], _told(answer)) == ("/sign-in", [NOT_BELIEVED])


@pytest.mark.parametrize("configuration", [{"issuer": "https://elsewhere.example"}, {"jwks_uri": ""}])
def test_a_provider_that_is_another_or_speaks_nonsense_is_told_in_words(
    jory: Person, provider: Provider, client: Client, configuration: dict[str, str]
) -> None:
    provider.configuration = configuration
    answer = client.post(BEGIN)
    if answer["Location"] != "/sign-in":
        answer = client.get(provider.signs_in(answer["Location"]))
    assert (answer["Location"], _told(answer)) == ("/sign-in", [NOT_BELIEVED])


def test_a_provider_that_is_away_is_told_in_words(jory: Person, client: Client, settings: Settings) -> None:
    with running() as gone:
        address = gone.issuer
    one = {"provider_id": "house", "name": "x", "client_id": CLIENT, "secret": SECRET,
           "settings": {"server_url": address}}  # fmt: skip
    settings.SOCIALACCOUNT_PROVIDERS = {"openid_connect": {"OAUTH_PKCE_ENABLED": True, "APPS": [one]}}
    settings.ROOT_URLCONF = "tests.people.single_sign_on_urls"
    answer = client.post(BEGIN)
    assert (answer["Location"], _told(answer)) == ("/sign-in", [NOT_BELIEVED])


def test_the_button_stands_on_the_sign_in_where_a_provider_is_set(
    jory: Person, provider: Provider, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "the house&#x27;s account" not in client.get("/sign-in").text
    monkeypatch.setattr(
        "inventory.people.views.sign_in.SignIn.extra_context",
        {"oidc": True, "oidc_name": "the house's account"},
    )
    page = client.get("/sign-in?next=/lots").text
    assert f'action="{BEGIN}?next=/lots"' in page
    assert "Sign in with the house&#x27;s account" in page
