"""The review server: the report of a batch on this machine alone, saving what a person decides.

It listens on the loopback address only. Every address begins with a random token, which the
command prints; requests for another host name or from another page are refused, so that no
web page open in the same browser can read pictures or save corrections. It serves what lies in
`results/<batch>/` and writes one file: corrections.yaml of the batch folder.
"""

from __future__ import annotations

import hmac
import json
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

from glassine.review import served
from glassine.review.served import MAX_BODY_BYTES as MAX_BODY_BYTES
from glassine.review.session import Refused, Session
from glassine.review.session import open_session as open_session

HOST = "127.0.0.1"
# A client that sends nothing for this long is cut off.
_PATIENCE_S = 30


class _Handler(BaseHTTPRequestHandler):
    """One request; `session` and `port` are put there by `serve`."""

    session: Session
    port: int
    timeout = _PATIENCE_S
    protocol_version = "HTTP/1.1"
    server_version = "Glassine"
    sys_version = ""

    def log_message(self, format: str, *values: Any) -> None:
        """Say nothing: addresses hold the token."""

    def _answer(self, status: HTTPStatus, content: bytes, kind: str) -> None:
        self.send_response(status)
        for name, value in {**served.HEADERS, "Content-Type": kind}.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(content)))
        if status >= HTTPStatus.BAD_REQUEST:
            # What is left unread of a refused body must not be taken for the next request.
            self.send_header("Connection", "close")
            self.close_connection = True
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)

    def _answer_json(self, status: HTTPStatus, value: Any) -> None:
        self._answer(status, json.dumps(value).encode(), served.TYPES[".json"])

    def _own_hosts(self) -> set[str]:
        return {f"{HOST}:{self.port}", f"localhost:{self.port}"}

    def _place(self) -> str:
        """Return the path behind the token. Raises Refused for foreign hosts and wrong tokens."""
        if self.headers.get_all("Host", []) not in [[host] for host in self._own_hosts()]:
            raise Refused(HTTPStatus.MISDIRECTED_REQUEST, "Not for this server.")
        _, token, *rest = [*urlsplit(self.path).path.split("/", 2), ""]
        if not hmac.compare_digest(token.encode(), self.session.token.encode()):
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
        return unquote(rest[0], errors="strict")

    def _guarded(self, action: Any) -> None:
        try:
            self._answered(action)
        except OSError:  # the client went away, or said nothing for too long
            self.close_connection = True

    def _answered(self, action: Any) -> None:
        try:
            action(self._place())
        except ConnectionError:
            raise
        except Exception as problem:
            status, message = served.refusal_of(problem)
            self._answer_json(status, {"saved": False, "message": message})

    def do_GET(self) -> None:
        self._guarded(self._get)

    def do_HEAD(self) -> None:
        self._guarded(self._get)

    def do_POST(self) -> None:
        self._guarded(self._post)

    def _get(self, place: str) -> None:
        if place in {"", "report", "report/"}:
            self.send_response(HTTPStatus.FOUND)
            self.send_header("Location", f"/{self.session.token}/report/index.html")
            self.send_header("Content-Length", "0")
            self.end_headers()
        elif place == "session.json":
            since = parse_qs(urlsplit(self.path).query).get("since", [""])[0]
            self._answer_json(HTTPStatus.OK, self.session.describe(since))
        else:
            content, kind = served.file_in(self.session.results, place)
            self._answer(HTTPStatus.OK, content, kind)

    def _post(self, place: str) -> None:
        if place != "corrections":
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
        if self.headers.get("Origin") not in {f"http://{host}" for host in self._own_hosts()}:
            raise Refused(HTTPStatus.FORBIDDEN, "Only the report page itself may save.")
        if self.headers.get_content_type() != "application/json":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Expected JSON.")
        length = served.length_of(self.headers.get("Content-Length", ""))
        body = served.value_of(self.rfile.read(length))
        answer = self.session.save(body)
        status = HTTPStatus.CONFLICT if answer["conflicts"] else HTTPStatus.OK
        self._answer_json(status, answer)


class _Server(ThreadingHTTPServer):
    """A server that prints no traceback: what a client breaks off is that client's affair."""

    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing of a connection that ended badly; the server goes on."""


def serve(session: Session, port: int = 0) -> ThreadingHTTPServer:
    """Return a server for the session, bound to the loopback address; 0 takes a free port.

    Call `serve_forever` on it; `address_of` gives the address to open.
    """
    handler = type("Handler", (_Handler,), {"session": session})
    server = _Server((HOST, port), handler)
    handler.port = server.server_port  # type: ignore[attr-defined]
    return server


def address_of(server: ThreadingHTTPServer, session: Session) -> str:
    return f"http://{HOST}:{server.server_port}/{session.token}/report/index.html"
