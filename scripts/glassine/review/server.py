"""The review server: the report of a batch on this machine alone, saving what a person decides.

It listens on the loopback address only. Every address begins with a random token, which the
command prints; requests for another host name or from another page are refused, so that no
web page open in the same browser can read pictures or save corrections. It serves what lies in
`results/<batch>/` and writes one file: corrections.yaml of the batch folder.
"""

from __future__ import annotations

import argparse
import hmac
import json
import os
import secrets
import shutil
import sys
import threading
import webbrowser
from dataclasses import dataclass, field
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import msgspec

from glassine.base import clock, corrections, files, folders, naming, record_files, settings
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.corrections import Correction
from glassine.base.records.intake import Items

HOST = "127.0.0.1"
MAX_BODY_BYTES = 1_000_000
_MAX_DIGITS = 9
# A client that sends nothing for this long is cut off.
_PATIENCE_S = 30
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".jpg": "image/jpeg",
    ".webp": "image/webp",
    ".avif": "image/avif",
    ".xml": "application/xml",
    ".txt": "text/plain; charset=utf-8",
}
# What of `results/<batch>/` the page refers to; logs, locks and the rest are not served.
_SERVED = ("report", "items")
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Refused(Exception):
    """A request that is not answered; `status` for the client, the text for the person."""

    def __init__(self, status: HTTPStatus, text: str) -> None:
        super().__init__(text)
        self.status = status


@dataclass
class Session:
    """One review of one batch.

    results: `results/<batch>/`; batch_dir: the masters' folder of the batch; writable: whether
    corrections.yaml may be written there (else the page offers a download).
    """

    batch: str
    results: Path
    batch_dir: Path
    writable: bool
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    lock: threading.Lock = field(default_factory=threading.Lock)
    # What this session wrote last: decisions of the queue come one by one.
    written: str = ""

    @property
    def target(self) -> Path:
        return self.batch_dir / corrections.FILE_NAME

    def standing(self) -> corrections.Decided:
        """Return what stands in corrections.yaml now. Raises GlassineError for a damaged file."""
        return corrections.read(self.target) if self.target.exists() else corrections.Decided()

    def describe(self) -> dict[str, Any]:
        try:
            standing = msgspec.to_builtins(self.standing().corrections)
            return {"writable": self.writable, "corrections": standing}
        except GlassineError as problem:
            return {"writable": False, "corrections": {}, "message": str(problem)}

    def _items(self) -> set[str]:
        intake = record_files.load(self.results / "intake.json", "intake", Items)
        return {entry.item for entry in intake.items}

    def save(self, body: Any) -> dict[str, Any]:
        """Put the corrections of a request in place; return what the page tells the person.

        body: {"corrections": [entries], "seen": {item: correction as the page knew it}}.
        Raises GlassineError for corrections that break a rule, Refused for what may not be.
        """
        if not self.writable:
            raise Refused(
                HTTPStatus.FORBIDDEN,
                "Saving into the batch folder is not allowed here. Download the file instead.",
            )
        if not isinstance(body, dict) or not isinstance(body.get("seen"), dict):
            raise Refused(HTTPStatus.BAD_REQUEST, "The request is not what the page sends.")
        asked = {"corrections": body.get("corrections")}
        new = corrections.check(asked, corrections.FILE_NAME).corrections
        unknown = sorted(set(new) - self._items())
        if unknown:
            raise Refused(
                HTTPStatus.UNPROCESSABLE_ENTITY, f"The batch has no item {', '.join(unknown)}."
            )
        with self.lock:
            return self._put(new, body["seen"])

    def _put(self, new: dict[ItemId, Correction], seen: dict[str, Any]) -> dict[str, Any]:
        standing = self.standing()
        before = msgspec.to_builtins(standing.corrections)
        changed_since = [item for item in new if _core(before.get(item)) != _core(seen.get(item))]
        if changed_since:
            raise Refused(
                HTTPStatus.CONFLICT,
                f"Somebody changed {', '.join(changed_since)} in corrections.yaml meanwhile. "
                "Your changes are kept here; load the page again to see theirs.",
            )
        result, changed = corrections.merged(standing.corrections, new)
        if changed:
            self.keep_earlier()
            text = corrections.as_text(result, standing.withdraw)
            files.write_text(self.target, text)
            self.written = text
        count = len(changed)
        return {
            "saved": True,
            "corrections": msgspec.to_builtins(result),
            "message": f"Saved in {self.target}: {count} item{'' if count == 1 else 's'} changed. "
            "The next run redoes just these.",
        }

    def keep_earlier(self) -> None:
        """Keep the file that is about to be replaced (its comments too) with the results; what
        this session itself wrote last is not kept once more."""
        if not self.target.exists() or self.target.read_text("utf-8") == self.written:
            return
        folder = self.results / "report" / "corrections-before"
        folder.mkdir(parents=True, exist_ok=True)
        name = clock.now_text().replace(":", "")
        number = len(list(folder.glob("*.yaml"))) + 1
        shutil.copyfile(self.target, folder / f"{name}-{number:03d}.yaml")


def _core(correction: Any) -> Any:
    """Return what a correction says, without who and when."""
    if not isinstance(correction, dict):
        return None
    return {key: correction.get(key) for key in ("note", "identity", "frames")}


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    mapping = dict(pairs)
    if len(mapping) != len(pairs):
        raise ValueError("a key stands twice")
    return mapping


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
        for name, value in {**_HEADERS, "Content-Type": kind}.items():
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
        self._answer(status, json.dumps(value).encode(), _TYPES[".json"])

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
        except Refused as refusal:
            self._answer_json(refusal.status, {"saved": False, "message": str(refusal)})
        except GlassineError as problem:
            self._answer_json(
                HTTPStatus.UNPROCESSABLE_ENTITY, {"saved": False, "message": str(problem)}
            )
        except ConnectionError:
            raise
        except RecursionError:
            self._answer_json(
                HTTPStatus.BAD_REQUEST,
                {"saved": False, "message": "Refused: lists or mappings are nested too deep."},
            )
        except (OSError, ValueError) as problem:
            self._answer_json(
                HTTPStatus.BAD_REQUEST, {"saved": False, "message": f"Refused: {problem}"}
            )
        except Exception as problem:  # a person gets an answer whatever was sent
            what = f"This could not be answered: {type(problem).__name__}. Nothing was saved."
            self._answer_json(HTTPStatus.BAD_REQUEST, {"saved": False, "message": what})

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
            self._answer_json(HTTPStatus.OK, self.session.describe())
        else:
            self._file(place)

    def _file(self, place: str) -> None:
        try:
            path = files.inside(self.session.results, place)
        except ValueError as problem:
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.") from problem
        kind = _TYPES.get(path.suffix.lower())
        hidden = any(part.startswith(".") for part in place.split("/"))
        if place.split("/")[0] not in _SERVED or kind is None or hidden or not path.is_file():
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
        with os.fdopen(handle, "rb") as opened:
            self._answer(HTTPStatus.OK, opened.read(), kind)

    def _post(self, place: str) -> None:
        if place != "corrections":
            raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
        if self.headers.get("Origin") not in {f"http://{host}" for host in self._own_hosts()}:
            raise Refused(HTTPStatus.FORBIDDEN, "Only the report page itself may save.")
        if self.headers.get_content_type() != "application/json":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Expected JSON.")
        length = self.headers.get("Content-Length", "")
        if not length.isascii() or not length.isdigit():
            raise Refused(HTTPStatus.LENGTH_REQUIRED, "The length of the request is not told.")
        if len(length) > _MAX_DIGITS or int(length) > MAX_BODY_BYTES:
            raise Refused(
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "That is too much at once: save in parts."
            )
        body = json.loads(self.rfile.read(int(length)), object_pairs_hook=_no_key_twice)
        self._answer_json(HTTPStatus.OK, self.session.save(body))


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


def _only_batch(results: Path) -> str:
    batches = sorted(path.parent.parent.name for path in results.glob("*/report/index.html"))
    if len(batches) == 1:
        return batches[0]
    raise GlassineError.because(
        "review.batch",
        results,
        f"{len(batches)} batches have a report here: {', '.join(batches) or 'none'}.",
        "one batch, or its name after the command.",
        "Run `scripts/nightly` first, or name the batch: scripts/review <batch>.",
    )


def open_session(config: dict[str, Any], working_dir: Path, batch: str | None) -> Session:
    """Return the session of a batch (the only one with a report, where none is named).

    Raises GlassineError where there is no such report.
    """
    results = working_dir / "results"
    try:
        name = naming.check_batch(batch or _only_batch(results))
    except ValueError as problem:
        raise GlassineError.because(
            "review.batch",
            batch,
            f"This cannot be the name of a batch: {problem}.",
            "the name of a batch.",
            "Correct the name.",
        ) from problem
    if not (results / name / "report" / "index.html").is_file():
        raise GlassineError.because(
            "review.report",
            results / name / "report",
            "This batch has no report.",
            "a report page that a run has made.",
            "Run `scripts/nightly` first.",
        )
    batch_dir = folders.masters_folder(config["masters"], working_dir) / name
    allowed = config["report"]["corrections"] == "batch_folder"
    writable = allowed and batch_dir.is_dir() and os.access(batch_dir, os.W_OK)
    return Session(name, results / name, batch_dir, writable)


def main(arguments: list[str] | None = None) -> int:
    """Serve the review of a batch until interrupted; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="scripts/review",
        description="Open the report of a batch for corrections, on this machine alone.",
    )
    parser.add_argument("batch", nargs="?", help="name of the batch; else the only one")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", default=str(settings.PROJECT / "config" / "config.yaml"))
    parser.add_argument("--port", type=int, default=0, help="0 takes a free one")
    parser.add_argument("--browser", action="store_true", help="open the page in the browser")
    options = parser.parse_args(arguments)
    try:
        stated = settings.read_yaml(Path(options.configfile), trusted=True)
        config = settings.load(stated or {}, options.configfile)
        session = open_session(config, Path(options.directory).resolve(), options.batch)
        server = serve(session, options.port)
    except GlassineError as error:
        sys.stderr.write("".join(f"{finding.sentence()}\n" for finding in error.findings))
        return 2
    except (OSError, OverflowError) as problem:
        sys.stderr.write(f"The port {options.port} cannot be used: {problem}. Try --port 0.\n")
        return 2
    where = session.target if session.writable else "a download (the batch folder is not written)"
    print(f"Review of {session.batch}; corrections go to {where}.")
    print(f"  {address_of(server, session)}")
    print("The address is for this machine and this session alone. Ctrl-C ends it.", flush=True)
    if options.browser:
        webbrowser.open(address_of(server, session))
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        print("Ended.")
    finally:
        server.server_close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
