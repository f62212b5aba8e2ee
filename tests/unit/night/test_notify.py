"""The summary is sent where the settings say, nowhere else, and never harms the night."""

from __future__ import annotations

import http.server
import json
import socketserver
import threading
import urllib.error
from collections.abc import Iterator
from typing import Any

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.night import notify

SUMMARY: dict[str, Any] = {
    "finished": 8,
    "held": 2,
    "waiting": 0,
    "left": 0,
    "batches": [
        {"batch": "harbour", "total": 10, "finished": 8, "held": 2, "waiting": 0, "left": 0}
    ],
}


def configured(webhook: str | None = None, **mail: Any) -> dict[str, Any]:
    given = {"report": {"notify": {"webhook": webhook, "mail": mail}}}
    found: dict[str, Any] = settings.load(given)["report"]["notify"]
    return found


def serving(server: socketserver.TCPServer) -> Iterator[socketserver.TCPServer]:
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


class _Hook(http.server.BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.got.append((self.path, self.headers["Content-Type"], body))  # type: ignore[attr-defined]
        self.send_response(302 if self.path == "/away" else 204)
        if self.path == "/away":
            self.send_header("Location", "/taken")
        self.end_headers()

    do_GET = do_POST

    def log_message(self, format: str, *values: Any) -> None:
        """Keep the test's output clean."""


@pytest.fixture
def hook() -> Iterator[Any]:
    server = http.server.HTTPServer(("127.0.0.1", 0), _Hook)
    server.got = []  # type: ignore[attr-defined]
    yield from serving(server)


class _Postman(socketserver.StreamRequestHandler):
    """As much of RFC 5321 as one mail takes."""

    def handle(self) -> None:
        self.wfile.write(b"220 here\r\n")
        while line := self.rfile.readline():
            self.server.got.append(line)  # type: ignore[attr-defined]
            if line.upper().startswith(b"DATA"):
                self.wfile.write(b"354 go on\r\n")
                while (part := self.rfile.readline()) != b".\r\n":
                    self.server.got.append(part)  # type: ignore[attr-defined]
            elif line.upper().startswith(b"QUIT"):
                self.wfile.write(b"221 bye\r\n")
                return
            self.wfile.write(b"250 ok\r\n")


@pytest.fixture
def post_office() -> Iterator[Any]:
    server = socketserver.TCPServer(("127.0.0.1", 0), _Postman)
    server.got = []  # type: ignore[attr-defined]
    yield from serving(server)


def test_it_is_off_by_default() -> None:
    found = settings.load({})["report"]["notify"]
    assert found["webhook"] is None
    assert found["mail"]["to"] == []
    notify.send(found, SUMMARY)


def test_a_web_address_gets_the_summary(hook: Any) -> None:
    notify.send(configured(f"http://127.0.0.1:{hook.server_address[1]}/night"), SUMMARY)
    ((path, kind, body),) = hook.got
    assert (path, kind) == ("/night", "application/json")
    assert json.loads(body) == SUMMARY


def test_another_address_than_the_set_one_gets_nothing(hook: Any) -> None:
    with pytest.raises(GlassineError):
        notify.send(configured(f"http://127.0.0.1:{hook.server_address[1]}/away"), SUMMARY)
    assert [path for path, _, _ in hook.got] == ["/away"]


def test_a_mail_is_sent(post_office: Any) -> None:
    port = post_office.server_address[1]
    notify.send(
        configured(host="127.0.0.1", port=port, to=["pictures@archive.port-ellery.example"]),
        SUMMARY,
    )
    text = b"".join(post_office.got)
    assert b"Subject: Glassine: 8 finished, 2 held" in text
    assert b"RCPT TO:<PICTURES@ARCHIVE.PORT-ELLERY.EXAMPLE>" in text.upper()
    assert b"harbour: 8 of 10 finished, 2 held" in text


@pytest.mark.parametrize("address", ["file:///etc/passwd", "ftp://x.example/", "night"])
def test_only_web_addresses_are_taken(address: str) -> None:
    with pytest.raises(GlassineError) as problem:
        notify.send(configured(address), SUMMARY)
    assert [finding.code for finding in problem.value.findings] == ["notify.webhook"]


def test_each_way_that_fails_is_told() -> None:
    closed = {"host": "127.0.0.1", "port": 1, "to": ["a@port-ellery.example"]}
    with pytest.raises(GlassineError) as problem:
        notify.send(configured("http://127.0.0.1:1/", **closed), SUMMARY)
    assert [finding.code for finding in problem.value.findings] == [
        "notify.webhook",
        "notify.mail",
    ]
    assert "not affected" in problem.value.findings[0].next_step


class _Refusing(http.server.BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        self.send_response(500)
        self.end_headers()

    def log_message(self, format: str, *values: Any) -> None:
        """Keep the test's output clean."""


@pytest.fixture
def refusing() -> Iterator[Any]:
    yield from serving(http.server.HTTPServer(("127.0.0.1", 0), _Refusing))


def test_an_answer_that_refuses_leaves_no_connection_open(refusing: Any) -> None:
    with pytest.raises(urllib.error.HTTPError) as refused:
        notify.post(f"http://127.0.0.1:{refusing.server_port}/", {})
    assert refused.value.closed


def test_a_file_for_monitoring_that_cannot_be_written_is_told_as_such(tmp_path: Any) -> None:
    """In words of a file, and the other ways are tried all the same."""
    (tmp_path / "there").mkdir()
    (tmp_path / "file").write_text("")
    for textfile in (tmp_path / "file" / "x.prom", tmp_path / "there"):
        told = {"webhook": "http://127.0.0.1:9/x", "mail": {"to": []}, "textfile": str(textfile)}
        with pytest.raises(GlassineError) as problem:
            notify.send(told, {**SUMMARY, "time": "2026-03-18T05:00:00Z"})
        (webhook, file) = problem.value.findings
        assert (webhook.code, file.code) == ("notify.webhook", "notify.textfile")
        assert "could not be written" in file.what and "Errno" not in file.what
        assert "folder" in file.expected and "server" not in file.expected
        assert sorted(path.name for path in tmp_path.rglob("*")) == ["file", "there"]
