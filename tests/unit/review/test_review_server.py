"""The review server answers its own page on this machine, and nobody and nothing else."""

from __future__ import annotations

import http.client
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from glassine.base import corrections
from glassine.base.errors import GlassineError
from glassine.review import server as review_server
from glassine.review.server import Session
from makers import make_results, step_calls

SQUARE = [[10, 10], [90, 12], [88, 70], [9, 68]]


@pytest.fixture
def session(tmp_path: Path) -> Session:
    given = make_results.write_batch(tmp_path, 6, pictures=False)
    results = tmp_path / "results" / make_results.BATCH
    step_calls.write_report(results, given)
    batch_dir = tmp_path / "masters" / make_results.BATCH
    batch_dir.mkdir(parents=True)
    return Session(make_results.BATCH, results, batch_dir, writable=True)


@pytest.fixture
def port(session: Session) -> Iterator[int]:
    server = review_server.serve(session)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield int(server.server_address[1])
    server.shutdown()
    server.server_close()
    thread.join()


def ask(
    port: int, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[int, bytes, dict[str, str]]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    connection.request(method, path, body, named)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer.status, content, dict(answer.getheaders())


def post(
    port: int, session: Session, entries: list[Any], seen: Any = None, **headers: str
) -> tuple[int, dict[str, Any]]:
    body = json.dumps({"corrections": entries, "seen": {} if seen is None else seen}).encode()
    sent = {
        "Origin": f"http://127.0.0.1:{port}",
        "Content_Type": "application/json",
        **headers,
    }
    status, content, _ = ask(port, f"/{session.token}/corrections", "POST", body, **sent)
    return status, json.loads(content)


def decision(item: str = "PEH-0001", **changed: Any) -> dict[str, Any]:
    frame = {"master": f"{item}.tif", "frame": 1, "corners": SQUARE}
    return {
        "item": item,
        "by": "op-07",
        "when": "2026-03-18T08:55:00Z",
        "note": None,
        "identity": None,
        "frames": [frame],
        **changed,
    }


def test_it_listens_on_the_loopback_address_only(session: Session) -> None:
    server = review_server.serve(session)
    assert server.server_address[0] == "127.0.0.1"
    server.server_close()


def test_the_report_and_what_it_shows_are_served(session: Session, port: int) -> None:
    status, content, headers = ask(port, f"/{session.token}/report/index.html")
    assert status == 200
    assert b"Harbour office negatives" in content
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert ask(port, f"/{session.token}/items/PEH-0001/geometry.json")[0] == 200


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/report/index.html",
        "/wrong-token/report/index.html",
        "/{token}/../intake.json",
        "/{token}/items/../../../masters/x.jpg",
        "/{token}/items/%2e%2e/%2e%2e/intake.json",
        "/{token}/items/..%5c..%5cintake.json",
        "/{token}//etc/passwd",
        "/{token}/%2fetc%2fpasswd.txt",
        "/{token}/items",
        "/{token}/items/PEH-0001",
        "/{token}/intake.json",
        "/{token}/logs/intake.txt",
        "/{token}/report/nothing.js",
        "/{token}/report/index.html%00.jpg",
        "/{token}/report/.part-1-index.html",
    ],
)
def test_nothing_else_is_served(session: Session, port: int, path: str) -> None:
    (session.results / "logs").mkdir()
    (session.results / "logs" / "intake.txt").write_text("x", "utf-8")
    (session.results / "report" / ".part-1-index.html").write_text("x", "utf-8")
    assert ask(port, path.replace("{token}", session.token))[0] == 404


def test_links_that_lead_out_are_not_followed(session: Session, port: int, tmp_path: Path) -> None:
    (tmp_path / "secret.json").write_text("{}", "utf-8")
    (session.results / "items" / "PEH-0001" / "out.json").symlink_to(tmp_path / "secret.json")
    assert ask(port, f"/{session.token}/items/PEH-0001/out.json")[0] == 404


def test_another_host_name_is_refused(session: Session, port: int) -> None:
    """A foreign name that resolves to 127.0.0.1 (DNS rebinding) must not reach the pictures."""
    path = f"/{session.token}/report/index.html"
    assert ask(port, path, Host="pictures.example")[0] == 421
    assert ask(port, path, Host=f"localhost:{port}")[0] == 200


def test_a_decision_is_saved_and_reads_back(session: Session, port: int) -> None:
    status, answer = post(port, session, [decision()])
    assert (status, answer["saved"]) == (200, True)
    read = corrections.read(session.target).corrections
    assert read["PEH-0001"].frames[0].corners == SQUARE
    assert read["PEH-0001"].by == "op-07"
    assert [path.name for path in session.batch_dir.iterdir()] == ["corrections.yaml"]


def test_other_items_stay_and_the_earlier_file_is_kept(session: Session, port: int) -> None:
    earlier = '# by hand\ncorrections:\n  - item: PEH-0002\n    note: "seen"\n'
    session.target.write_text(earlier, "utf-8")
    assert post(port, session, [decision()])[0] == 200
    assert set(corrections.read(session.target).corrections) == {"PEH-0001", "PEH-0002"}
    (kept,) = (session.results / "report" / "corrections-before").iterdir()
    assert kept.read_text("utf-8") == earlier


def test_a_change_made_meanwhile_is_not_overwritten(session: Session, port: int) -> None:
    theirs = (
        "corrections: [{item: PEH-0001, frames: [{master: PEH-0001.tif, frame: 1, rotate: 90}]}]"
    )
    session.target.write_text(theirs, "utf-8")
    status, answer = post(port, session, [decision()])
    assert (status, answer["saved"], answer["conflicts"]) == (409, False, ["PEH-0001"])
    assert corrections.read(session.target).corrections["PEH-0001"].frames[0].rotate == 90
    seen = {"PEH-0001": session.describe()["corrections"]["PEH-0001"]}
    assert post(port, session, [decision()], seen)[0] == 200


def test_what_another_decided_of_another_part_meanwhile_stays(session: Session, port: int) -> None:
    theirs = """corrections: [{item: PEH-0001, note: theirs, frames: [
        {master: PEH-0001.tif, frame: 2, accept: true}]}]"""
    session.target.write_text(theirs, "utf-8")
    status, answer = post(port, session, [decision()])
    assert (status, answer["saved"]) == (200, True)
    both = corrections.read(session.target).corrections["PEH-0001"]
    assert both.note == "theirs"
    assert {frame.frame for frame in both.frames} == {1, 2}


@pytest.mark.parametrize(
    "origin", ["http://pictures.example", "null", "https://127.0.0.1:{port}", ""]
)
def test_another_page_cannot_save(session: Session, port: int, origin: str) -> None:
    status, _ = post(port, session, [decision()], Origin=origin.replace("{port}", str(port)))
    assert status == 403
    assert not session.target.exists()


def test_a_form_of_another_page_cannot_save(session: Session, port: int) -> None:
    """A plain form can only send these types without asking first (Fetch standard)."""
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        assert post(port, session, [decision()], Content_Type=kind)[0] == 415


@pytest.mark.parametrize(
    ("entries", "status"),
    [
        ([decision(item="PEH-9999")], 422),
        ([decision(item="../../x")], 422),
        ([decision(by="Orla Vennick")], 422),
        ([decision(frames=[{"frame": 1, "corners": [[0, 0], [9, 9], [9, 0], [0, 9]]}])], 422),
        ([decision(), decision()], 422),
    ],
)
def test_decisions_that_break_a_rule_are_refused_with_the_reason(
    session: Session, port: int, entries: list[Any], status: int
) -> None:
    found, answer = post(port, session, entries)
    assert found == status
    assert answer["message"]
    assert not session.target.exists()


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"{", {}, 400),
        (b'{"seen": {}, "seen": {}}', {}, 400),
        (b"[]", {}, 400),
        (b"\xff\xfe", {}, 400),
        (b"", {"Content_Length": "-1"}, 411),
        (b"", {"Content_Length": "9999999"}, 413),
    ],
)
def test_bodies_that_no_page_sends_are_refused(
    session: Session, port: int, body: bytes, headers: dict[str, str], status: int
) -> None:
    sent = {
        "Origin": f"http://127.0.0.1:{port}",
        "Content_Type": "application/json",
        **headers,
    }
    assert ask(port, f"/{session.token}/corrections", "POST", body, **sent)[0] == status
    assert not session.target.exists()


def test_where_writing_is_not_allowed_the_page_is_told(session: Session, port: int) -> None:
    session.writable = False
    assert json.loads(ask(port, f"/{session.token}/session.json")[1])["writable"] is False
    assert post(port, session, [decision()])[0] == 403
    assert not session.target.exists()


def test_a_damaged_file_by_hand_is_not_overwritten(session: Session, port: int) -> None:
    session.target.write_text("corrections: [", "utf-8")
    told = json.loads(ask(port, f"/{session.token}/session.json")[1])
    assert told["writable"] is False
    assert "corrections.yaml" in told["message"]
    assert post(port, session, [decision()])[0] == 422
    assert session.target.read_text("utf-8") == "corrections: ["


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH"])
def test_no_other_method_does_anything(session: Session, port: int, method: str) -> None:
    assert ask(port, f"/{session.token}/corrections", method)[0] == 501


def test_each_session_has_a_token_of_its_own(session: Session) -> None:
    other = Session(session.batch, session.results, session.batch_dir, True)
    assert other.token != session.token
    assert len(session.token) >= 43  # 32 random bytes


def test_a_batch_without_a_report_is_told(tmp_path: Path) -> None:
    config = {"masters": "masters", "report": {"corrections": "batch_folder"}}
    (tmp_path / "masters").mkdir()
    for name in ("harbour", "../harbour", None):
        with pytest.raises(GlassineError) as problem:
            review_server.open_session(config, tmp_path, name)
        assert problem.value.findings[0].code in {"review.report", "review.batch"}


def test_the_setting_keeps_the_batch_folder_unwritten(session: Session, tmp_path: Path) -> None:
    config = {"masters": "masters", "report": {"corrections": "download"}}
    opened = review_server.open_session(config, tmp_path, None)
    assert opened.batch == make_results.BATCH
    assert opened.writable is False
    config["report"] = {"corrections": "batch_folder"}
    assert review_server.open_session(config, tmp_path, None).writable is True
