"""A small identity provider on this machine, as OpenID Connect Core 1.0 and Discovery 1.0 describe one.

It keeps its side of the bargain, client secret and PKCE (RFC 7636) included; a test then spoils one answer.
"""

import base64
import hashlib
import hmac
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import jwt
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

CLIENT, SECRET = "tidetally-tests", "between the two of us"
# Two keys are dear to make; one for each provider that there can be is enough.
KEY = rsa.generate_private_key(public_exponent=65537, key_size=2048)


@dataclass
class Provider:
    """Who is signed in there, and what its answers say otherwise than they should."""

    issuer: str = ""
    subject: str = "7b1f"
    email: str = "jory@skerry.example"
    verified: bool = True
    key: rsa.RSAPrivateKey = KEY
    # Claims of the ID token that are replaced; None leaves one out.
    claims: dict[str, Any] = field(default_factory=dict)
    userinfo: dict[str, Any] = field(default_factory=dict)
    configuration: dict[str, Any] = field(default_factory=dict)
    algorithm: str = "RS256"
    # What each code was given for, by the request that the browser brought.
    asked: dict[str, dict[str, str]] = field(default_factory=dict)

    def signs_in(self, address: str) -> str:
        """What a person does there: with the address that the browser came to; where it is sent back to."""
        request = {name: values[0] for name, values in parse_qs(urlsplit(address).query).items()}
        assert address.startswith(f"{self.issuer}/authorize?")
        assert (request["response_type"], request["client_id"]) == ("code", CLIENT)
        assert "openid" in request["scope"].split()
        assert request["code_challenge_method"] == "S256"
        code = f"code-{len(self.asked)}"
        self.asked[code] = request
        return f"{urlsplit(request['redirect_uri']).path}?code={code}&state={request['state']}"

    def answer(self, path: str, sent: dict[str, str], bearer: str) -> tuple[int, dict[str, Any]]:
        """The answer to a request of the house."""
        if path == "/.well-known/openid-configuration":
            return 200, self._configuration()
        if path == "/keys":
            public = json.loads(jwt.algorithms.RSAAlgorithm.to_jwk(KEY.public_key()))
            return 200, {"keys": [{**public, "kid": "1", "alg": "RS256", "use": "sig"}]}
        if path == "/token":
            return self._token(sent)
        if path == "/userinfo" and bearer == "Bearer of-access":
            told = {"sub": self.subject, "email": self.email, "email_verified": self.verified}
            return 200, told | self.userinfo
        return 404, {}

    def _configuration(self) -> dict[str, Any]:
        return {
            "issuer": self.issuer,
            "authorization_endpoint": f"{self.issuer}/authorize",
            "token_endpoint": f"{self.issuer}/token",
            "userinfo_endpoint": f"{self.issuer}/userinfo",
            "jwks_uri": f"{self.issuer}/keys",
            "token_endpoint_auth_methods_supported": ["client_secret_post"],
        } | self.configuration

    def _token(self, sent: dict[str, str]) -> tuple[int, dict[str, Any]]:
        asked = self.asked.pop(sent.get("code", ""), None)
        digest = hashlib.sha256(sent.get("code_verifier", "").encode()).digest()
        challenge = _base64(digest).decode()
        right = (CLIENT, SECRET, asked and asked["redirect_uri"], asked and asked["code_challenge"])
        if right != (sent.get("client_id"), sent.get("client_secret"), sent.get("redirect_uri"), challenge):
            return 400, {"error": "invalid_grant"}
        assert asked is not None
        return 200, {"access_token": "of-access", "token_type": "Bearer", "id_token": self._signed(asked)}

    def _signed(self, asked: dict[str, str]) -> str:
        now = int(time.time())
        claims: dict[str, Any] = {
            "iss": self.issuer, "sub": self.subject, "aud": CLIENT, "iat": now, "exp": now + 300,
            "nonce": asked.get("nonce"),
        } | self.claims  # fmt: skip
        told = {name: value for name, value in claims.items() if value is not None}
        if self.algorithm == "HS256":
            return _with_public_key(told)
        key = "" if self.algorithm == "none" else self.key
        return jwt.encode(told, key, algorithm=self.algorithm, headers={"kid": "1"})


def _with_public_key(claims: dict[str, Any]) -> str:
    """The oldest trick: the public key, which everybody has, as if it were a shared secret (RFC 8725)."""
    secret = KEY.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    head = {"alg": "HS256", "typ": "JWT", "kid": "1"}
    signed = b".".join(_base64(json.dumps(part).encode()) for part in (head, claims))
    return b".".join((signed, _base64(hmac.digest(secret, signed, "sha256")))).decode()


def _base64(content: bytes) -> bytes:
    return base64.urlsafe_b64encode(content).rstrip(b"=")


@contextmanager
def running() -> Iterator[Provider]:
    """A provider that answers on a port of this machine until the test is over."""
    provider = Provider()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self._answer({})

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            self._answer({name: values[0] for name, values in parse_qs(body).items()})

        def _answer(self, sent: dict[str, str]) -> None:
            status, told = provider.answer(self.path, sent, self.headers.get("Authorization", ""))
            content = json.dumps(told).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            """Quiet."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=10)
