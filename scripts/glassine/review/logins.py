"""Who asks: by a login of this desk, or by the word of a reverse proxy that is known.

A login is a cookie that this server signed: role id, end, a random number and their HMAC-SHA-256
(RFC 2104) under the digest of the role's token. Nothing that a browser brings along is ever taken
up as a login, so none can be fixed before it; a token that is taken away, or granted anew, ends the
logins made with it.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import threading
import time
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from typing import Any

from glassine.review import tokens
from glassine.review.session import Refused

LASTS_S = 12 * 3600
_MAX_COOKIE = 400
Network = ipaddress.IPv4Network | ipaddress.IPv6Network


@dataclass
class Logins:
    """Who may ask.

    path: the file of tokens, None for none; header: the name of a proxy's header with a role id, as
    WSGI spells it, None for none; proxies: addresses from which it is believed; secure: whether
    browsers come by https.
    """

    path: Path | None
    header: str | None
    proxies: list[Network]
    secure: bool
    _ended: dict[str, float] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def cookie(self) -> str:
        """The cookie's name; `__Host-` keeps other hosts of the domain from setting it (RFC
        6265bis, section 4.1.3.2)."""
        return "__Host-glassine" if self.secure else "glassine"

    def is_proxy(self, address: str) -> bool:
        try:
            asked = ipaddress.ip_address(address.partition("%")[0])
        except ValueError:
            return False
        return any(asked in network for network in self.proxies)

    def client_of(self, environ: dict[str, Any]) -> str:
        """Return the address that a request comes from: the last one before the known proxies.

        Of an IPv6 address the network of 64 bits, which one client has for itself.
        """
        peer = str(environ.get("REMOTE_ADDR", ""))
        passed = [each.strip() for each in environ.get("HTTP_X_FORWARDED_FOR", "").split(",")]
        while self.is_proxy(peer) and passed and passed[-1]:
            peer = passed.pop()
        try:
            address = ipaddress.ip_address(peer.partition("%")[0])
        except ValueError:
            return "unknown"
        if address.version == 4:
            return str(address)
        return str(ipaddress.ip_network((address, 64), strict=False))

    def role_of(self, environ: dict[str, Any]) -> str | None:
        """Return the role id of who asks, None for nobody. Raises Refused for a proxy's word that
        is no role id, GlassineError where the file of tokens cannot be used."""
        if self.header and self.is_proxy(str(environ.get("REMOTE_ADDR", ""))):
            role = environ.get(self.header, "")
            if role:
                if not tokens.ROLE.fullmatch(role):
                    raise Refused(
                        HTTPStatus.FORBIDDEN, "The proxy names no role id (op-07, for example)."
                    )
                return str(role)
        return self._by_cookie(environ.get("HTTP_COOKIE", ""))

    def _by_cookie(self, header: str) -> str | None:
        brought = self._cookie_in(header)
        if self.path is None or brought is None:
            return None
        role, _, rest = brought.partition("~")
        until, _, rest = rest.partition("~")
        number, _, mark = rest.partition("~")
        key = tokens.read(self.path).get(role)
        sound = hmac.compare_digest(_mark(key or bytes(32), role, until, number), mark)
        if not sound or key is None or not until.isdigit() or int(until) < time.time():
            return None
        with self._lock:
            return None if number in self._ended else role

    def _cookie_in(self, header: str) -> str | None:
        """Return the value of the one login cookie; of two, neither counts."""
        found = [
            value
            for name, _, value in (each.strip().partition("=") for each in header.split(";"))
            if name == self.cookie
        ]
        return found[0] if len(found) == 1 and len(found[0]) <= _MAX_COOKIE else None

    def log_in(self, token: str) -> str | None:
        """Return the Set-Cookie line for a token, None where it is nobody's."""
        if self.path is None:
            return None
        roles = tokens.read(self.path)
        role = tokens.role_of(roles, token)
        if role is None:
            return None
        until, number = str(int(time.time()) + LASTS_S), secrets.token_hex(16)
        value = f"{role}~{until}~{number}~{_mark(roles[role], role, until, number)}"
        return self._line(value, LASTS_S)

    def log_out(self, environ: dict[str, Any]) -> str:
        """End the login of a request; return the Set-Cookie line that takes the cookie away."""
        brought = self._cookie_in(environ.get("HTTP_COOKIE", ""))
        if brought is not None and self._by_cookie(environ.get("HTTP_COOKIE", "")):
            _, until, number, _ = brought.split("~")
            with self._lock:
                now = time.time()
                self._ended = {each: end for each, end in self._ended.items() if end > now}
                self._ended[number] = float(until)
        return self._line("", 0)

    def _line(self, value: str, age_s: int) -> str:
        secure = "; Secure" if self.secure else ""
        return f"{self.cookie}={value}; Path=/; Max-Age={age_s}; HttpOnly; SameSite=Strict{secure}"


def _mark(key: bytes, *words: str) -> str:
    return hmac.new(key, "~".join(words).encode("utf-8", "replace"), hashlib.sha256).hexdigest()
