"""Whatever is sent to the review server gets an answer; nothing breaks off and nothing is saved."""

from __future__ import annotations

import http.client
import json
import random
import threading
from typing import Any

import pytest

from glassine.review import server as review_server
from glassine.review.server import Session
from makers import make_results, step_calls


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """A server with its session; yields (port, session)."""
    root = tmp_path_factory.mktemp("review")
    given = make_results.write_batch(root, 3, pictures=False)
    results = root / "results" / make_results.BATCH
    step_calls.write_report(results, given)
    batch_dir = root / "masters" / make_results.BATCH
    batch_dir.mkdir(parents=True)
    session = Session(make_results.BATCH, results, batch_dir, writable=True)
    server = review_server.serve(session)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield int(server.server_address[1]), session
    server.shutdown()
    server.server_close()
    thread.join()


def send(served: tuple[int, Session], body: bytes, **headers: str) -> tuple[int, Any]:
    port, session = served
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    named = {
        "Origin": f"http://127.0.0.1:{port}",
        "Content-Type": "application/json",
        **{name.replace("_", "-"): value for name, value in headers.items()},
    }
    connection.request("POST", f"/{session.token}/corrections", body, named)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer.status, json.loads(content)


def entry(**changed: Any) -> dict[str, Any]:
    return {
        "item": "PEH-0001",
        "by": "op-07",
        "when": "2026-03-18T08:55:00Z",
        "note": "seen",
        "frames": [{"frame": 1, "rotate": 90}],
        **changed,
    }


def as_body(corrections: Any, seen: Any = None) -> bytes:
    return json.dumps({"corrections": corrections, "seen": {} if seen is None else seen}).encode()


BODIES = {
    "nothing": b"",
    "half": b'{"corrections": [',
    "no_utf8": b'{"corrections": "\xff\xfe"}',
    "utf16": '{"corrections": []}'.encode("utf-16"),
    "deep_lists": b"[" * 300_000,
    "deep_whole": b"[" * 200_000 + b"]" * 200_000,
    "deep_mappings": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
    "deep_entry": b'{"seen": {}, "corrections": ' + b"[" * 900 + b"]" * 900 + b"}",
    "long_number": b'{"corrections": ' + b"9" * 100_000 + b', "seen": {}}',
    "nan": b'{"corrections": NaN, "seen": {}}',
    "key_twice": b'{"seen": {}, "seen": {}, "corrections": []}',
    "list": b"[]",
    "number": b"5",
    "null": b"null",
    "text": b'"x"',
    "no_seen": b'{"corrections": []}',
    "seen_list": as_body([], [1]),
    "corrections_null": as_body(None),
    "corrections_mapping": as_body({"a": 1}),
    "entry_text": as_body(["PEH-0001"]),
    "surrogate_note": as_body([entry(note="\ud800")]),
    "surrogate_item": as_body([entry(item="PEH\udfff")]),
    "surrogate_key": as_body([entry(**{"\ud800": 1})]),
    "control_note": as_body([entry(note="a\x00\x1b[2J")]),
    "item_list": as_body([entry(item=["PEH-0001"])]),
    "item_unknown": as_body([entry(item="PEH-9999")]),
    "frames_mapping": as_body([entry(frames={"1": 2})]),
    "frame_huge": as_body([entry(frames=[{"frame": 10**400, "rotate": 90}])]),
    "frame_float": as_body([entry(frames=[{"frame": 1.5}])]),
    "corners_infinite": b'{"seen": {}, "corrections": [{"item": "PEH-0001", "by": "op-07", "when":'
    b' "2026-03-18T08:55:00Z", "frames": [{"frame": 1, "corners": [[1e999, 0], [1, 0], [1, 1],'
    b" [0, 1]]}]}]}",
    "corners_text": as_body([entry(frames=[{"frame": 1, "corners": "abcd"}])]),
    "when_wrong": as_body([entry(when="yesterday")]),
    "many": as_body([entry()] * 60_000)[: review_server.MAX_BODY_BYTES],
}


@pytest.mark.parametrize("name", BODIES)
def test_a_body_that_cannot_be_saved_is_refused_with_words(served, name, capfd):
    status, answer = send(served, BODIES[name])
    assert status in {400, 409, 413, 422}, (status, answer)
    assert answer["saved"] is False and answer["message"]
    assert "Traceback" not in capfd.readouterr().err
    assert not served[1].target.exists()


def test_a_body_larger_than_its_limit_is_not_read(served, capfd):
    port, session = served
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.putrequest("POST", f"/{session.token}/corrections")
    connection.putheader("Origin", f"http://127.0.0.1:{port}")
    connection.putheader("Content-Type", "application/json")
    connection.putheader("Content-Length", str(10**15))
    connection.endheaders()
    answer = connection.getresponse()
    assert answer.status == 413
    connection.close()
    for length in ("-1", "1e3", "9" * 5000, "\xb3", ""):
        status, _ = send(served, b"{}", Content_Length=length)
        assert status in {400, 411, 413}, length
    assert "Traceback" not in capfd.readouterr().err


def test_a_client_that_goes_away_leaves_no_trace(served, capfd):
    port, session = served
    for _ in range(5):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        connection.putrequest("POST", f"/{session.token}/corrections")
        connection.putheader("Origin", f"http://127.0.0.1:{port}")
        connection.putheader("Content-Type", "application/json")
        connection.putheader("Content-Length", "1000")
        connection.endheaders()
        connection.sock.close()
        connection.close()
    assert send(served, b"null")[0] == 400  # it goes on answering
    assert "Traceback" not in capfd.readouterr().err


ODD: list[Any] = [
    None, True, -1, 0, 1e308, 2**70, "", "\ud800", "\x00", "x" * 5000, [], {}, [[]], {"": {}},
    [None] * 300, "PEH-0001", "../../etc/passwd", {"__class__": 1},
]  # fmt: skip


def _spoilt(value: Any, rng: random.Random) -> Any:
    """Return `value` with one thing in it, at any depth, put in another's place."""
    if isinstance(value, dict) and value and rng.random() < 0.8:
        key = rng.choice([*value])
        return {**value, key: _spoilt(value[key], rng)}
    if isinstance(value, list) and value and rng.random() < 0.8:
        place = rng.randrange(len(value))
        return [*value[:place], _spoilt(value[place], rng), *value[place + 1 :]]
    return rng.choice(ODD)


def test_200_spoilt_bodies_are_all_answered(served, capfd):
    rng = random.Random(20260317)
    square = [[10, 10], [90, 12], [88, 70], [9, 68]]
    whole = {
        "corrections": [
            entry(frames=[{"frame": 1, "corners": square}, {"frame": 2, "blank": True}])
        ],
        "seen": {"PEH-0001": None},
    }
    for _ in range(200):
        body = json.dumps(_spoilt(whole, rng)).encode()
        if rng.random() < 0.2:
            cut = rng.randrange(len(body))
            body = body[:cut] + rng.randbytes(3) + body[cut + 1 :]
        status, answer = send(served, body)
        assert status in {200, 400, 409, 413, 422}, (status, body[:200])
        assert isinstance(answer, dict)
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize(
    "line",
    [
        b"GET /\xff\xfe HTTP/1.1",
        b"GET /%00 HTTP/1.1",
        b"GET http://[::1 HTTP/1.1",
        b"GET //[x HTTP/1.1",
        b"GET " + b"/a" * 40_000 + b" HTTP/1.1",
        b"BREW / HTTP/1.1",
        b"\x00\x01\x02",
    ],
)
def test_a_request_line_that_is_none_is_answered_or_closed(served, line, capfd):
    import socket

    port, session = served
    token = session.token.encode()
    for start in (line, line.replace(b"GET /", b"GET /" + token + b"/", 1)):
        with socket.create_connection(("127.0.0.1", port), timeout=10) as sock:
            sock.sendall(start + f"\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
            answer = sock.recv(200)
        assert not answer.startswith(b"HTTP/1.1 2")
    assert "Traceback" not in capfd.readouterr().err


def test_pictures_are_answered_as_before(served):
    port, session = served
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.request("GET", f"/{session.token}/report/index.html")
    answer = connection.getresponse()
    assert (answer.status, b"<html" in answer.read()) == (200, True)
    connection.close()
