"""Asks the house's identity provider who somebody is: OpenID Connect, the code flow with PKCE.

allauth makes the exchange. What its own adapter leaves open is held here: the signature and the nonce of
the ID token, that the provider is the one of the settings, and that both its answers are about the same
subject (OpenID Connect Core 1.0, 3.1.3.7 and 5.3.2; OpenID Connect Discovery 1.0, 4.3).
"""

import secrets
from hmac import compare_digest
from typing import Any

import jwt
from allauth.socialaccount.adapter import get_adapter
from allauth.socialaccount.internal import statekit
from allauth.socialaccount.models import SocialLogin
from allauth.socialaccount.providers.base.constants import AuthProcess
from allauth.socialaccount.providers.oauth2.client import OAuth2Error
from allauth.socialaccount.providers.openid_connect.provider import OpenIDConnectProvider
from allauth.socialaccount.providers.openid_connect.views import OpenIDConnectOAuth2Adapter
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from requests import RequestException

HOUSE = "house"
# Signatures by a key of which the provider alone has the secret half; never "none", never a shared secret.
ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA")
# By how many seconds the clocks of provider and house may differ.
_CLOCKS_DIFFER = 60
_NEEDED = ("iss", "sub", "aud", "exp", "iat", "nonce")


class NotBelieved(Exception):
    """The provider did not answer, or its answer does not hold; the message says what, for the log."""


def lead_there(request: HttpRequest, *, then: str) -> HttpResponse:
    """Sends the browser to the provider; ``then`` is where it goes when the person is back."""
    nonce = secrets.token_urlsafe(32)
    try:
        answer = (
            _Exchange(request, HOUSE)
            .get_provider()
            .redirect(request, AuthProcess.LOGIN, next_url=then, auth_params={"nonce": nonce}, nonce=nonce)
        )
    except _NO_ANSWER as error:
        raise NotBelieved(f"{type(error).__name__}: {error}") from error
    assert isinstance(answer, HttpResponse)
    return answer


def who_came_back(request: HttpRequest) -> SocialLogin:
    """Whom the provider says this browser belongs to; raises :class:`NotBelieved`."""
    exchange = _Exchange(request, HOUSE)
    state = statekit.unstash_state(request, provider_id=HOUSE, state_id=request.GET.get("state", ""))
    if state is None:
        raise NotBelieved("this browser asked no such question, or longer ago than ten minutes")
    if "code" not in request.GET:
        raise NotBelieved(f"the provider says {request.GET.get('error', 'nothing')[:100]}")
    try:
        found = exchange.bring(state)
    except _NO_ANSWER as error:
        raise NotBelieved(f"{type(error).__name__}: {error}") from error
    found.state = state
    return found


# What an answer may be: none at all, one that holds something else than it must, a token that does not hold.
_NO_ANSWER = (RequestException, OAuth2Error, jwt.PyJWTError, KeyError, TypeError, ValueError)


class _Provider(OpenIDConnectProvider):
    """allauth's, with the exchange of the house."""

    def get_oauth2_adapter(self, request: HttpRequest) -> "_Exchange":
        return _Exchange(request, HOUSE)


class _Exchange(OpenIDConnectOAuth2Adapter):
    """One visit to the provider."""

    def get_provider(self) -> _Provider:
        return _Provider(self.request, app=get_adapter(self.request).get_app(self.request, provider=HOUSE))

    def get_callback_url(self, request: HttpRequest, app: object) -> str:
        return request.build_absolute_uri(reverse("single_sign_on_back"))

    @property
    def openid_config(self) -> dict[str, Any]:
        told: dict[str, Any] = super().openid_config
        named = self.get_provider().app.settings["server_url"].partition("/.well-known/")[0]
        if str(told.get("issuer", "")).rstrip("/") != named.rstrip("/"):
            raise OAuth2Error(f"{named} says that it is {told.get('issuer')!r}")
        return told

    def bring(self, state: dict[str, Any]) -> SocialLogin:
        """Exchanges the code for tokens and reads from them who it is."""
        provider = self.get_provider()
        answer = self.get_access_token_data(
            self.request,
            provider.app,
            self.get_client(self.request, provider.app),
            pkce_code_verifier=state["pkce_code_verifier"],
        )
        claims = self._claims(answer["id_token"], client=provider.app.client_id, nonce=state["nonce"])
        told = {"id_token": claims}
        if self.openid_config.get("userinfo_endpoint"):
            told["userinfo"] = self._fetch_user_info(answer["access_token"])
            if told["userinfo"].get("sub") != claims["sub"]:
                raise OAuth2Error("the two answers are about different subjects")
        found: SocialLogin = provider.sociallogin_from_response(self.request, told)
        found.token = self.parse_token(answer)
        return found

    def _claims(self, token: str, *, client: str, nonce: str) -> dict[str, Any]:
        """What the ID token says, once it was signed for this client and this very request."""
        claims: dict[str, Any] = jwt.decode(
            token,
            self._key_of(token),
            algorithms=ALGORITHMS,
            audience=client,
            issuer=self.openid_config["issuer"],
            leeway=_CLOCKS_DIFFER,
            options={"require": list(_NEEDED)},
        )
        if not compare_digest(str(claims["nonce"]).encode(), nonce.encode()):
            raise OAuth2Error("the token answers another request")
        if claims.get("azp", client) != client:
            raise OAuth2Error("the token was made for another client")
        return claims

    def _key_of(self, token: str) -> jwt.PyJWK:
        """The provider's key that the token names; its only one when it names none."""
        with get_adapter().get_requests_session() as session:
            answer = session.get(self.openid_config["jwks_uri"])
            answer.raise_for_status()
        number = jwt.get_unverified_header(token).get("kid")
        fitting = [key for key in jwt.PyJWKSet.from_dict(answer.json()).keys if number in (None, key.key_id)]
        if len(fitting) != 1:
            raise OAuth2Error(f"the provider has {len(fitting)} keys with the number {number!r}")
        return fitting[0]
