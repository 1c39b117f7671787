"""A small OpenID Connect provider on loopback: people choose who they are by a link."""

import base64
import hashlib
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "lastbite", "not a secret"
Claims = dict[str, Any]


@dataclass
class Provider:
    """Who may sign in there, and what was asked of it."""

    people: dict[str, Claims]
    """What is claimed of each, by the name on their link."""
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "1"}))
    published: RSAKey | None = None
    """The key that it says it signs with; the one it does, unless it is forged."""
    asked: list[str] = field(default_factory=list)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    address: str = ""

    @property
    def metadata(self) -> str:
        """Give the address of what it says of itself."""
        return f"{self.address}/.well-known/openid-configuration"

    def about(self) -> dict[str, Any]:
        """Say of itself what a client has to know."""
        return {
            "issuer": self.address,
            "authorization_endpoint": f"{self.address}/authorize",
            "token_endpoint": f"{self.address}/token",
            "userinfo_endpoint": f"{self.address}/userinfo",
            "jwks_uri": f"{self.address}/jwks",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
            "code_challenge_methods_supported": ["S256"],
        }

    def choose(self, asked: dict[str, str]) -> str:
        """Give a page with a link for each person, which brings their code back."""
        links = []
        for name in self.people:
            code = secrets.token_urlsafe(16)
            self.codes[code] = {**asked, "name": name}
            back = urlencode({"code": code, "state": asked["state"]})
            links.append(f'<a href="{asked["redirect_uri"]}?{back}">{name}</a>')
        return f"<h1>Who are you?</h1>{' '.join(links)}"

    def token(self, said: dict[str, str]) -> dict[str, Any] | None:
        """Give the tokens for a code, once, to who began; nothing otherwise."""
        known = self.codes.pop(said.get("code", ""), None)
        proof = hashlib.sha256(said.get("code_verifier", "").encode()).digest()
        challenge = base64.urlsafe_b64encode(proof).rstrip(b"=").decode()
        if known is None or known.get("code_challenge") != challenge:
            return None
        now = int(time.time())
        claims = {
            "iss": self.address,
            "aud": CLIENT,
            "iat": now,
            "exp": now + 600,
            "nonce": known["nonce"],
            **self.people[known["name"]],
        }
        signed = jwt.encode({"alg": "RS256", "kid": "1"}, claims, self.key)
        return {"access_token": known["name"], "token_type": "Bearer", "id_token": signed}


class _Handler(BaseHTTPRequestHandler):
    provider: Provider

    def do_GET(self) -> None:
        """Answer a browser, or the pages' server."""
        parts = urlsplit(self.path)
        asked = {name: values[0] for name, values in parse_qs(parts.query).items()}
        provider = self.provider
        provider.asked.append(parts.path)
        match parts.path:
            case "/.well-known/openid-configuration":
                self._say(provider.about())
            case "/authorize":
                self._answer(200, "text/html", provider.choose(asked).encode())
            case "/jwks":
                key = provider.published or provider.key
                self._say({"keys": [key.as_dict(private=False)]})
            case "/userinfo":
                name = self.headers.get("Authorization", "").removeprefix("Bearer ")
                self._say(provider.people.get(name, {}))
            case _:
                self._answer(404, "text/plain", b"")

    def do_POST(self) -> None:
        """Answer the pages' server, which has a code."""
        self.provider.asked.append(self.path)
        body = self.rfile.read(int(self.headers.get("Content-Length", 0))).decode()
        found = self.provider.token({name: some[0] for name, some in parse_qs(body).items()})
        basic = base64.b64encode(f"{CLIENT}:{SECRET.replace(' ', '%20')}".encode()).decode()
        plain = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        if self.headers.get("Authorization") not in {f"Basic {basic}", f"Basic {plain}"}:
            found = None
        self._say(found or {"error": "invalid_grant"}, 200 if found else 400)

    def _say(self, said: dict[str, Any], status: int = 200) -> None:
        self._answer(status, "application/json", json.dumps(said).encode())

    def _answer(self, status: int, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        """Write nothing to the terminal."""


@contextmanager
def provided(people: dict[str, Claims]) -> Iterator[Provider]:
    """Serve a provider."""
    provider = Provider(people)
    handler = type("Handler", (_Handler,), {"provider": provider})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    provider.address = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
