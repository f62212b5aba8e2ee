"""The review pages for a team: a WSGI application (PEP 3333) behind a login.

Each batch with a report lies under its name. Nobody is answered but under the one address that the
settings state; nothing is saved but from a page of that address, by somebody who is logged in, and
in the name of that role. TLS is the reverse proxy's.
"""

from __future__ import annotations

import html
import json
import math
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from threading import Lock
from typing import Any
from urllib.parse import parse_qs, urlsplit

from glassine.base.errors import GlassineError
from glassine.review import served
from glassine.review.limits import Limit
from glassine.review.logins import Logins
from glassine.review.session import Refused, Session, open_session

Start = Callable[[str, list[tuple[str, str]]], Any]
# A login's form holds a token and no more.
_MAX_FORM_BYTES = 2_000
# Who was not heard of for this long looks at nothing.
_AWAY_S = 15
_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)


@dataclass
class Desk:
    """config: the settings; working_dir: holds `results`; origin: scheme, host and port by which
    browsers come; batch: the only one that is served, None for all."""

    config: dict[str, Any]
    working_dir: Path
    origin: str
    logins: Logins
    batch: str | None = None
    # Ten wrong tokens at once, then one in half a minute: guessing 256 bits is hopeless anyway.
    wrong: Limit = field(default_factory=lambda: Limit(10, 1 / 30))
    # A person decides a frame in a second at best; a page sends what waited in one piece.
    saves: Limit = field(default_factory=lambda: Limit(60, 10))

    def __post_init__(self) -> None:
        self._sessions: dict[str, Session] = {}
        self._places: dict[str, dict[str, tuple[str, float]]] = {}
        self._lock = Lock()

    def __call__(self, environ: dict[str, Any], start: Start) -> Iterable[bytes]:
        try:
            answer = self._answer(environ)
        except Exception as problem:  # a person gets an answer whatever was sent
            status, message = served.refusal_of(problem)
            wait = (("Retry-After", str(problem.wait_s)),) if isinstance(problem, TooOften) else ()
            answer = _json(status, {"saved": False, "message": message}, *wait)
        return answer.send(environ, start)

    def _answer(self, environ: dict[str, Any]) -> Answered:
        if environ.get("HTTP_HOST", "").lower() != urlsplit(self.origin).netloc:
            raise Refused(HTTPStatus.MISDIRECTED_REQUEST, "Not for this server.")
        path = environ.get("PATH_INFO", "").encode("latin-1").decode("utf-8")
        method = environ["REQUEST_METHOD"]
        if method == "POST":
            return self._post(environ, path)
        if method not in {"GET", "HEAD"}:
            raise Refused(HTTPStatus.METHOD_NOT_ALLOWED, "Not allowed.")
        role = self.logins.role_of(environ)
        if role is None:
            return self._ask(HTTPStatus.UNAUTHORIZED, "", environ)
        return self._get(environ, path, role)

    # What is read

    def _get(self, environ: dict[str, Any], path: str, role: str) -> Answered:
        _, batch, *rest = [*path.split("/", 2), ""]
        place = rest[0]
        if not batch:
            return self._contents(role)
        session = self._session(batch)
        if place in {"", "report", "report/"}:
            return _elsewhere(f"/{session.batch}/report/index.html")
        if place == "session.json":
            since = parse_qs(environ.get("QUERY_STRING", "")).get("since", [""])[0]
            asked = parse_qs(environ.get("QUERY_STRING", "")).get("at", [""])[0]
            others = self._others(session, role, asked)
            return _json(HTTPStatus.OK, {**session.describe(since), "role": role, "others": others})
        content, kind = served.file_in(session.results, place)
        return Answered(HTTPStatus.OK, content, kind)

    def _session(self, batch: str) -> Session:
        """Return the session of a batch; one for all who review it. Raises Refused, where there
        is none."""
        if self.batch not in {None, batch}:
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
        with self._lock:
            try:
                opened = open_session(self.config, self.working_dir, batch)
            except GlassineError as problem:
                raise Refused(HTTPStatus.NOT_FOUND, "Not found.") from problem
            session = self._sessions.setdefault(batch, opened)
            session.writable = opened.writable
            return session

    def _others(self, session: Session, role: str, item: str) -> dict[str, str]:
        """Note where a person is; return which items others look at now, so that two do not
        decide the same."""
        now = time.monotonic()
        with self._lock:
            here = self._places.setdefault(session.batch, {})
            here.pop(role, None)
            if item in session.items():
                here[role] = (item, now)
            return {
                each: place
                for each, (place, at) in here.items()
                if each != role and now - at < _AWAY_S
            }

    def _contents(self, role: str) -> Answered:
        results = self.working_dir / "results"
        batches = (
            [self.batch]
            if self.batch
            else sorted(path.parent.parent.name for path in results.glob("*/report/index.html"))
        )
        rows = "".join(
            f'<li><a href="/{html.escape(each)}/report/index.html"><bdi>{html.escape(each)}</bdi>'
            "</a></li>"
            for each in batches
        )
        listed = f"<ul>{rows}</ul>" if rows else "<p>No batch has a report yet.</p>"
        leave = '<form method="post" action="/logout"><button>Log out</button></form>'
        return _page(
            HTTPStatus.OK, "Batches", f"<p>You decide as <bdi>{role}</bdi>.</p>{listed}{leave}"
        )

    # What is written

    def _require_own(self, environ: dict[str, Any]) -> None:
        """Raise Refused for what another page sends (Fetch standard: `Origin` with every POST)."""
        site = environ.get("HTTP_SEC_FETCH_SITE", "same-origin")
        if environ.get("HTTP_ORIGIN") != self.origin or site != "same-origin":
            raise Refused(HTTPStatus.FORBIDDEN, "Only the report page itself may save.")

    def _post(self, environ: dict[str, Any], path: str) -> Answered:
        self._require_own(environ)
        if path == "/login":
            return self._log_in(environ)
        role = self.logins.role_of(environ)
        if role is None:
            message = "Your login has ended. Log in again in another tab; your changes are kept."
            raise Refused(HTTPStatus.UNAUTHORIZED, message)
        if path == "/logout":
            return _elsewhere("/", ("Set-Cookie", self.logins.log_out(environ)))
        _, batch, *rest = [*path.split("/", 2), ""]
        if rest[0] != "corrections":
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
        if _kind(environ) != "application/json":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Expected JSON.")
        wait = self.saves.take(role)
        if wait:
            raise TooOften(wait)
        length = served.length_of(environ.get("CONTENT_LENGTH", ""))
        body = served.value_of(environ["wsgi.input"].read(length))
        answer = self._session(batch).save(body, role)
        status = HTTPStatus.CONFLICT if answer["conflicts"] else HTTPStatus.OK
        return _json(status, answer)

    # Logging in

    def _log_in(self, environ: dict[str, Any]) -> Answered:
        if _kind(environ) != "application/x-www-form-urlencoded":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Expected the form of this page.")
        client = self.logins.client_of(environ)
        wait = self.wrong.wait_s(client)
        if wait:
            raise TooOften(wait)
        length = served.length_of(environ.get("CONTENT_LENGTH", ""), _MAX_FORM_BYTES)
        form = parse_qs(environ["wsgi.input"].read(length).decode("utf-8"), max_num_fields=4)
        cookie = self.logins.log_in(form.get("token", [""])[0].strip())
        if cookie is None:
            self.wrong.take(client)
            return self._ask(HTTPStatus.UNAUTHORIZED, "This token is nobody's.", environ)
        return _elsewhere("/", ("Set-Cookie", cookie))

    def _ask(self, status: HTTPStatus, problem: str, environ: dict[str, Any]) -> Answered:
        if environ.get("HTTP_SEC_FETCH_DEST", "document") != "document":
            return _json(status, {"saved": False, "message": "Log in first."})
        if self.logins.path is None:
            raise Refused(
                HTTPStatus.FORBIDDEN, "Come by the studio's proxy, which knows who you are."
            )
        words = f'<p role="alert">{html.escape(problem)}</p>' if problem else ""
        form = (
            f'{words}<form method="post" action="/login"><label>Your token '
            '<input name="token" type="password" autocomplete="current-password" required '
            "autofocus></label> <button>Log in</button></form>"
        )
        return _page(status, "Log in to review", form)


class TooOften(Refused):
    """What may be done again only after `wait_s` seconds."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = math.ceil(wait_s)
        super().__init__(
            HTTPStatus.TOO_MANY_REQUESTS, f"Too often: try again in {self.wait_s} seconds."
        )


@dataclass(frozen=True)
class Answered:
    status: HTTPStatus
    content: bytes
    kind: str
    further: tuple[tuple[str, str], ...] = ()

    def send(self, environ: dict[str, Any], start: Start) -> list[bytes]:
        headers = {
            **served.HEADERS,
            "Content-Type": self.kind,
            "Content-Length": str(len(self.content)),
            # Under `no-referrer` a browser sends a form with `Origin: null` (Fetch standard, 3.2).
            "Referrer-Policy": "same-origin",
        }
        if self.status == HTTPStatus.UNAUTHORIZED:  # RFC 9110, section 11.6.1: it must say how
            headers["WWW-Authenticate"] = 'Form realm="review"'
        start(f"{self.status.value} {self.status.phrase}", [*headers.items(), *self.further])
        return [] if environ["REQUEST_METHOD"] == "HEAD" else [self.content]


def _json(status: HTTPStatus, value: Any, *further: tuple[str, str]) -> Answered:
    return Answered(status, json.dumps(value).encode(), served.TYPES[".json"], further)


def _elsewhere(place: str, *further: tuple[str, str]) -> Answered:
    return Answered(HTTPStatus.SEE_OTHER, b"", "text/plain", (("Location", place), *further))


def _kind(environ: dict[str, Any]) -> str:
    return str(environ.get("CONTENT_TYPE", "")).partition(";")[0].strip().lower()


def _page(status: HTTPStatus, title: str, inside: str) -> Answered:
    text = (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width">'
        "<style>:root{color-scheme:light dark}body{font:1rem/1.5 system-ui,sans-serif;"
        "max-width:40rem;margin:3rem auto;padding:0 1rem}input,button{font:inherit;padding:.4rem}"
        f"li{{margin:.5rem 0}}</style><main><h1>{title}</h1>{inside}</main></html>"
    )
    return Answered(
        status, text.encode(), served.TYPES[".html"], (("Content-Security-Policy", _POLICY),)
    )
