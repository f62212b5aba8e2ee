"""The team's desk answers those who are logged in, saves in their name, and nothing else."""

from __future__ import annotations

import http.client
import io
import ipaddress
import json
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from glassine.base import corrections
from glassine.base.errors import GlassineError
from glassine.review import command, tokens
from glassine.review.desk import Desk
from glassine.review.limits import Limit
from glassine.review.logins import Logins
from glassine.review.served import MAX_BODY_BYTES
from makers import make_results, step_calls

HOST = "review.port-ellery.example"
ORIGIN = f"https://{HOST}"
CONFIG = {"masters": "masters", "report": {"corrections": "batch_folder"}}
BATCH = make_results.BATCH


class Team:
    """A desk in a folder, asked without a network."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.path = root / "reviewers"
        self.tokens = {role: tokens.grant(self.path, role) for role in ("op-07", "op-08")}
        self.desk = self.fresh()

    def fresh(self, **changed: Any) -> Desk:
        """Return a desk as it is after a start."""
        given = {"path": self.path, "header": None, "proxies": [], "secure": True, **changed}
        return Desk(CONFIG, self.root, ORIGIN, Logins(**given))

    @property
    def target(self) -> Path:
        return self.root / "masters" / BATCH / corrections.FILE_NAME

    def ask(
        self, method: str, path: str, body: bytes = b"", desk: Desk | None = None, **sent: Any
    ) -> tuple[int, bytes, dict[str, str]]:
        environ = {
            "REQUEST_METHOD": method,
            "PATH_INFO": path,
            "QUERY_STRING": "",
            "HTTP_HOST": HOST,
            "REMOTE_ADDR": "192.0.2.9",
            "CONTENT_LENGTH": str(len(body)),
            "wsgi.input": io.BytesIO(body),
            **({"HTTP_ORIGIN": ORIGIN} if method == "POST" else {}),
            **sent,
        }
        kept: dict[str, Any] = {}

        def start(status: str, headers: list[tuple[str, str]]) -> None:
            kept.update(status=int(status.split()[0]), headers=dict(headers))

        content = b"".join((desk or self.desk)(environ, start))
        return kept["status"], content, kept["headers"]

    def log_in(self, token: str, **sent: Any) -> tuple[int, str]:
        form = {"CONTENT_TYPE": "application/x-www-form-urlencoded", **sent}
        status, _, headers = self.ask("POST", "/login", f"token={token}".encode(), **form)
        return status, headers.get("Set-Cookie", "").split(";")[0]

    def cookie(self, role: str = "op-07") -> str:
        status, cookie = self.log_in(self.tokens[role])
        assert status == 303
        return cookie

    def save(self, cookie: str, entries: list[Any], seen: Any = None, **sent: Any) -> Any:
        body = json.dumps({"corrections": entries, "seen": seen or {}}).encode()
        given = {"CONTENT_TYPE": "application/json", "HTTP_COOKIE": cookie, **sent}
        status, content, _ = self.ask("POST", f"/{BATCH}/corrections", body, **given)
        return status, json.loads(content)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Team:
    root = tmp_path_factory.mktemp("desk")
    given = make_results.write_batch(root, 3, pictures=False)
    step_calls.write_report(root / "results" / BATCH, given)
    (root / "masters" / BATCH).mkdir(parents=True)
    return Team(root)


@pytest.fixture
def team(studio: Team) -> Team:
    studio.target.unlink(missing_ok=True)
    studio.desk = studio.fresh()
    return studio


def turned(by: str = "op-99", frame: int = 1, rotate: int = 90) -> dict[str, Any]:
    frames = [{"master": "PEH-0001.tif", "frame": frame, "rotate": rotate}]
    return {"item": "PEH-0001", "by": by, "when": "2020-01-01T00:00:00Z", "frames": frames}


def test_nobody_sees_a_page_before_a_login(team: Team) -> None:
    for path in ("/", f"/{BATCH}/report/index.html", f"/{BATCH}/session.json", "/nothing"):
        status, content, headers = team.ask("GET", path)
        assert status == 401 and "WWW-Authenticate" in headers
        assert b"Harbour office" not in content
    assert team.save("", [turned()])[0] == 401
    assert not team.target.exists()


def test_after_the_login_the_batches_are_there(team: Team) -> None:
    cookie = team.cookie()
    assert BATCH.encode() in team.ask("GET", "/", HTTP_COOKIE=cookie)[1]
    status, content, _ = team.ask("GET", f"/{BATCH}/report/index.html", HTTP_COOKIE=cookie)
    assert status == 200 and b"Harbour office" in content
    told = json.loads(team.ask("GET", f"/{BATCH}/session.json", HTTP_COOKIE=cookie)[1])
    assert told["role"] == "op-07" and told["writable"] is True


def test_a_decision_is_in_the_name_of_who_is_logged_in_and_of_now(team: Team) -> None:
    assert team.save(team.cookie("op-08"), [turned(by="op-07")])[0] == 200
    saved = corrections.read(team.target).corrections["PEH-0001"]
    assert saved.by == "op-08"
    assert saved.when is not None and not saved.when.startswith("2020")


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"HTTP_HOST": "pictures.example"}, 421),
        ({"HTTP_HOST": f"{HOST}, {HOST}"}, 421),
        ({"HTTP_HOST": ""}, 421),
        ({"HTTP_ORIGIN": "https://pictures.example"}, 403),
        ({"HTTP_ORIGIN": f"http://{HOST}"}, 403),
        ({"HTTP_ORIGIN": f"{ORIGIN}.example"}, 403),
        ({"HTTP_ORIGIN": "null"}, 403),
        ({"HTTP_ORIGIN": ""}, 403),
        ({"HTTP_SEC_FETCH_SITE": "same-site"}, 403),
        ({"CONTENT_TYPE": "text/plain"}, 415),
        ({"CONTENT_TYPE": "application/x-www-form-urlencoded"}, 415),
        ({"CONTENT_LENGTH": str(MAX_BODY_BYTES + 1)}, 413),
        ({"CONTENT_LENGTH": "-1"}, 411),
        ({"CONTENT_LENGTH": ""}, 411),
    ],
)
def test_another_page_or_host_saves_nothing(team: Team, sent: dict[str, str], status: int) -> None:
    assert team.save(team.cookie(), [turned()], **sent)[0] == status
    assert not team.target.exists()


@pytest.mark.parametrize(
    "path",
    [
        f"/{BATCH}/../{BATCH}/intake.json",
        f"/{BATCH}/intake.json",
        f"/{BATCH}/decisions.jsonl",
        f"/{BATCH}/items/../../../reviewers",
        f"/{BATCH}//etc/passwd",
        f"/{BATCH}/report/.part-1-index.html",
        "/../reviewers",
        "/.././results/x",
        "/reviewers",
        "//pictures.example/",
        "/\\x00/report/index.html",
    ],
)
def test_nothing_but_reports_and_items_is_served(team: Team, path: str) -> None:
    assert team.ask("GET", path, HTTP_COOKIE=team.cookie())[0] in {200, 404}
    assert b"SHA-256" not in team.ask("GET", path, HTTP_COOKIE=team.cookie())[1]
    if not path.startswith("//"):
        assert team.ask("GET", path, HTTP_COOKIE=team.cookie())[0] == 404


def test_a_login_cannot_be_fixed_before_it_forged_or_lent_to_another_role(team: Team) -> None:
    good = team.cookie()
    name, _, value = good.partition("=")
    role, until, number, mark = value.split("~")
    brought = [
        f"{name}=planted",
        f"{name}=op-08~{until}~{number}~{mark}",
        f"{name}={role}~{int(until) + 9}~{number}~{mark}",
        f"{name}={role}~{until}~{number}~",
        f"{name}=nobody~{until}~{number}~{mark}",
        f"glassine={value}",
        f"{good}; {good}",
        f"{name}=" + "x" * 5000,
    ]
    for cookie in brought:
        assert team.ask("GET", "/", HTTP_COOKIE=cookie)[0] == 401, cookie
    _, after = team.log_in(team.tokens["op-07"], HTTP_COOKIE=f"{name}=planted")
    assert "planted" not in after and after != good
    assert team.ask("GET", "/", HTTP_COOKIE=after)[0] == 200


def test_the_cookie_is_for_this_host_and_no_script(team: Team) -> None:
    form = {"CONTENT_TYPE": "application/x-www-form-urlencoded"}
    line = team.ask("POST", "/login", f"token={team.tokens['op-07']}".encode(), **form)[2]
    cookie = line["Set-Cookie"]
    assert cookie.startswith("__Host-")
    for word in ("; Path=/;", "HttpOnly", "SameSite=Strict", "Secure"):
        assert word in cookie
    assert "Domain" not in cookie


def test_a_login_ends_by_logging_out_by_time_and_with_its_token(
    team: Team, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, old, gone = team.cookie(), team.cookie("op-08"), team.cookie()
    assert team.ask("POST", "/logout", HTTP_COOKIE=out)[0] == 303
    assert team.ask("GET", "/", HTTP_COOKIE=out)[0] == 401
    assert team.ask("GET", "/", HTTP_COOKIE=gone)[0] == 200
    assert team.ask("GET", "/", HTTP_COOKIE=gone, desk=team.fresh())[0] == 200  # a new start
    team.tokens["op-07"] = tokens.grant(team.path, "op-07")
    assert team.ask("GET", "/", HTTP_COOKIE=gone)[0] == 401
    monkeypatch.setattr("glassine.review.logins.time.time", lambda: 4e9)
    assert team.ask("GET", "/", HTTP_COOKIE=old)[0] == 401


def test_wrong_tokens_are_slowed_down_for_their_address_alone(team: Team) -> None:
    clock = [0.0]
    team.desk.wrong = Limit(3, 0.1, clock=lambda: clock[0])
    found = [team.log_in("wrong")[0] for _ in range(5)]
    assert found == [401, 401, 401, 429, 429]
    assert team.log_in(team.tokens["op-07"])[0] == 429
    assert team.log_in(team.tokens["op-07"], REMOTE_ADDR="192.0.2.10")[0] == 303
    # A client that is no proxy cannot say that it is another.
    assert team.log_in("wrong", HTTP_X_FORWARDED_FOR="192.0.2.77")[0] == 429
    clock[0] = 10.0
    assert team.log_in(team.tokens["op-07"])[0] == 303


def test_all_tokens_are_compared_whichever_fits(
    team: Team, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The time must not tell how many roles there are before the one that fits."""
    counted: list[bytes] = []

    class Counting:
        @staticmethod
        def compare_digest(one: bytes, other: bytes) -> bool:
            counted.append(other)
            return one == other

    monkeypatch.setattr(tokens, "hmac", Counting)
    roles = tokens.read(team.path)
    numbers = []
    for token in ("wrong", "", "x" * 2000, *team.tokens.values()):
        counted.clear()
        tokens.role_of(roles, token)
        numbers.append((len(counted), {len(each) for each in counted}))
    assert numbers == [(3, {32})] * len(numbers)


def test_saves_are_limited_by_role(team: Team) -> None:
    team.desk.saves = Limit(2, 0.001)
    cookie = team.cookie()
    assert [team.save(cookie, [turned(rotate=each)])[0] for each in (90, 90, 90)] == [200, 200, 429]
    assert team.save(team.cookie("op-08"), [turned()])[0] == 200


def test_a_proxys_word_is_believed_from_its_address_alone(team: Team) -> None:
    proxies = [ipaddress.ip_network("127.0.0.1"), ipaddress.ip_network("2001:db8::/64")]
    desk = team.fresh(path=None, header="HTTP_X_ROLE", proxies=proxies)

    def status(address: str, role: str) -> int:
        return team.ask("GET", "/", desk=desk, REMOTE_ADDR=address, HTTP_X_ROLE=role)[0]

    assert status("127.0.0.1", "op-07") == 200
    assert status("2001:db8::7", "op-07") == 200
    assert status("192.0.2.9", "op-07") == 403
    assert status("127.0.0.1.example", "op-07") == 403
    assert status("127.0.0.1", "") == 403
    assert status("127.0.0.1", "op-07, op-08") == 403
    assert status("127.0.0.1", "Orla Vennick") == 403


def test_behind_a_proxy_the_limit_goes_by_the_client(team: Team) -> None:
    logins = team.fresh(proxies=[ipaddress.ip_network("127.0.0.1")]).logins

    def client(address: str, passed: str) -> str:
        return logins.client_of({"REMOTE_ADDR": address, "HTTP_X_FORWARDED_FOR": passed})

    assert client("127.0.0.1", "203.0.113.1, 192.0.2.5") == "192.0.2.5"
    assert client("127.0.0.1", "192.0.2.5, 127.0.0.1") == "192.0.2.5"
    assert client("192.0.2.9", "203.0.113.1") == "192.0.2.9"
    assert client("127.0.0.1", "") == "127.0.0.1"
    assert client("127.0.0.1", "words") == "unknown"
    assert client("2001:db8::1", "") == client("2001:db8::2", "")


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660])
def test_a_file_of_tokens_that_others_read_is_refused(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "reviewers"
    tokens.grant(path, "op-07")
    assert path.stat().st_mode & 0o777 == 0o600
    path.chmod(mode)
    with pytest.raises(GlassineError):
        tokens.read(path)


def test_a_file_of_tokens_holds_no_token_and_no_line_that_is_not_understood(tmp_path: Path) -> None:
    path = tmp_path / "reviewers"
    token = tokens.grant(path, "op-07")
    assert token not in path.read_text("utf-8")
    with pytest.raises(GlassineError):
        tokens.grant(path, "Orla Vennick")
    path.write_text(path.read_text("utf-8") + "op-09 short\n", "utf-8")
    with pytest.raises(GlassineError):
        tokens.read(path)
    link = tmp_path / "link"
    link.symlink_to(path)
    with pytest.raises(GlassineError):
        tokens.read(link)


@pytest.mark.parametrize(
    ("stated", "host", "origin"),
    [
        (None, "127.0.0.1", "http://127.0.0.1:8095"),
        ("http://localhost:81", "0.0.0.0", "http://localhost:81"),
        (ORIGIN, "10.0.0.4", ORIGIN),
        (None, "10.0.0.4", None),
        (f"http://{HOST}", "127.0.0.1", None),
        ("http://127.0.0.1.example", "127.0.0.1", None),
    ],
)
def test_no_address_in_clear_but_on_this_machine(
    stated: str | None, host: str, origin: str | None
) -> None:
    if origin is None:
        with pytest.raises(GlassineError):
            command.origin_of(stated, host, 8095)
    else:
        assert command.origin_of(stated, host, 8095) == origin


@pytest.fixture
def port(team: Team) -> Iterator[int]:
    """The desk behind the real server, believing a proxy on this machine."""
    proxies = [ipaddress.ip_network("127.0.0.1")]
    desk = team.fresh(header="HTTP_X_ROLE", proxies=proxies)
    running = command.waiting_server(desk, "127.0.0.1", 0)
    thread = threading.Thread(target=running.run)
    thread.start()
    yield int(running.effective_port)
    running.trigger.pull_trigger(running.close)
    thread.join(10)
    running.task_dispatcher.shutdown()


def test_the_real_server_hands_on_headers_as_they_must_be(team: Team, port: int) -> None:
    """A name with an underscore looks like one with a hyphen in WSGI: it must not come through."""

    def status(*headers: tuple[str, str]) -> int:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        connection.putrequest("GET", f"/{BATCH}/session.json", skip_host=True)
        for name, value in (("Host", HOST), *headers):
            connection.putheader(name, value)
        connection.endheaders()
        answer = connection.getresponse()
        answer.read()
        assert "waitress" not in (answer.getheader("Server") or "")
        connection.close()
        return answer.status

    assert status(("X-Role", "op-07")) == 200
    assert status(("X_Role", "op-07")) == 401
    assert status(("X-Role", "op-07"), ("X-Role", "op-08")) == 403
    assert status(("X-Role", "op-07"), ("Host", "pictures.example")) == 421


def test_the_real_server_reads_no_more_than_the_limit(team: Team, port: int) -> None:
    head = (
        f"POST /{BATCH}/corrections HTTP/1.1\r\nHost: {HOST}\r\nOrigin: {ORIGIN}\r\nX-Role: op-07"
        "\r\nContent-Type: application/json\r\n"
    )
    for rest in ("Content-Length: 99999999\r\n\r\n{", "Transfer-Encoding: chunked\r\n\r\n"):
        with socket.create_connection(("127.0.0.1", port), timeout=10) as client:
            client.sendall((head + rest).encode())
            if "chunked" in rest:
                piece = b"10000\r\n" + b" " * 0x10000 + b"\r\n"
                try:
                    for _ in range(20):
                        client.sendall(piece)
                    client.sendall(b"0\r\n\r\n")
                except OSError:
                    continue  # cut off: good
            answer = client.recv(100)
        assert answer == b"" or answer.split()[1] in {b"413", b"400", b"411"}, answer
    assert not team.target.exists()
