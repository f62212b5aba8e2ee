"""`scripts/review`: the report of a batch for corrections, on this machine or for a team."""

from __future__ import annotations

import argparse
import ipaddress
import logging
import sys
import webbrowser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.review import server, tokens
from glassine.review.desk import Desk
from glassine.review.logins import Logins
from glassine.review.served import MAX_BODY_BYTES
from glassine.review.session import open_session

_TEAM_PORT = 8095
_LOCAL = {"localhost", "127.0.0.1", "[::1]", "::1"}


def _cannot(what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because("review.desk", "report.desk", what, expected, next_step)


def origin_of(stated: str | None, host: str, port: int) -> str:
    """Return the address by which browsers come, without a path.

    Raises GlassineError for one that would carry tokens over a network without TLS.
    """
    address = stated or f"http://{host}:{port}"
    parts = urlsplit(address)
    local = (parts.hostname or "") in _LOCAL
    if parts.scheme == "https" or (parts.scheme == "http" and local):
        return f"{parts.scheme}://{parts.netloc}"
    raise _cannot(
        f"Browsers would come by {address}: tokens and pictures would cross the network in clear.",
        "`report.desk.origin` with https://, as the reverse proxy that ends TLS is called.",
        "Set it, let --host name the address that the proxy asks, and start again.",
    )


def desk_of(config: dict[str, Any], working_dir: Path, batch: str | None, origin: str) -> Desk:
    """Return the team's desk as the settings describe it. Raises GlassineError."""
    section = config["report"]["desk"]
    path = None if section["tokens"] is None else working_dir / section["tokens"]
    if path is not None:
        tokens.read(path)
    elif section["header"] is None:
        raise _cannot(
            "Nobody could log in.",
            "`report.desk.tokens` (a file) or `report.desk.header` with `report.desk.proxies`.",
            "Set one of them; scripts/review --grant op-07 makes the file.",
        )
    if section["header"] is not None and not section["proxies"]:
        raise _cannot(
            f"The header {section['header']} would be believed from no address.",
            "`report.desk.proxies`, the addresses of the reverse proxy.",
            "Set it; any client could send such a header itself.",
        )
    try:
        proxies = [ipaddress.ip_network(each) for each in section["proxies"]]
    except ValueError as problem:
        raise _cannot(
            f"`report.desk.proxies` cannot be read: {problem}.",
            "addresses or networks, for example 127.0.0.1 or 10.0.4.0/28.",
            "Correct them.",
        ) from problem
    header = section["header"] and "HTTP_" + section["header"].upper().replace("-", "_")
    logins = Logins(path, header, proxies, secure=origin.startswith("https:"))
    if batch is not None:
        batch = open_session(config, working_dir, batch).batch
    return Desk(config, working_dir, origin, logins, batch)


def waiting_server(desk: Desk, host: str, port: int) -> Any:
    """Return the WSGI server of a desk, bound to the address; `run` serves, `close` ends it."""
    import waitress

    # Requests that wait for their turn are no news.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    return waitress.create_server(
        desk,
        host=host.strip("[]"),
        port=port,
        threads=8,
        ident="",
        connection_limit=400,
        channel_timeout=60,
        max_request_header_size=32_768,
        max_request_body_size=MAX_BODY_BYTES + 1,
        # What a proxy says is believed, or not, by `Logins`.
        clear_untrusted_proxy_headers=False,
    )


def _serve_team(config: dict[str, Any], options: argparse.Namespace) -> int:
    port = options.port or _TEAM_PORT
    origin = origin_of(config["report"]["desk"]["origin"], options.host, port)
    desk = desk_of(config, Path(options.directory).resolve(), options.batch, origin)
    running = waiting_server(desk, options.host, port)
    print(f"Review of {options.batch or 'all batches'} for a team, at {origin}/")
    print(f"Listening on {options.host}, port {port}. Ctrl-C ends it.", flush=True)
    try:
        running.run()
    finally:
        running.close()
    print("Ended.")
    return 0


def _serve_here(config: dict[str, Any], options: argparse.Namespace) -> int:
    session = open_session(config, Path(options.directory).resolve(), options.batch)
    running = server.serve(session, options.port)
    where = session.target if session.writable else "a download (the batch folder is not written)"
    print(f"Review of {session.batch}; corrections go to {where}.")
    print(f"  {server.address_of(running, session)}")
    print("The address is for this machine and this session alone. Ctrl-C ends it.", flush=True)
    if options.browser:
        webbrowser.open(server.address_of(running, session))
    try:
        running.serve_forever()
    except KeyboardInterrupt:
        print("Ended.")
    finally:
        running.server_close()
    return 0


def _grant(config: dict[str, Any], options: argparse.Namespace) -> int:
    stated = config["report"]["desk"]["tokens"]
    if stated is None:
        raise _cannot(
            "No file of tokens is named.",
            "`report.desk.tokens`, a path outside of the folder of masters and of results.",
            "Set it, then grant the token.",
        )
    path = Path(options.directory).resolve() / stated
    token = tokens.grant(path, options.grant)
    print(f"The token of {options.grant}, which is not kept anywhere but by you:\n{token}")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="scripts/review",
        description="Open the report of a batch for corrections, on this machine alone, or with "
        "--host for a team that logs in.",
    )
    parser.add_argument("batch", nargs="?", help="name of the batch; else the only one")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    parser.add_argument("--port", type=int, default=0, help="0 takes a free one (a team's: 8095)")
    parser.add_argument("--browser", action="store_true", help="open the page in the browser")
    parser.add_argument("--host", help="serve a team at this address, behind a login")
    parser.add_argument("--grant", metavar="ROLE", help="give a role id a new token, and end")
    return parser


def main(arguments: list[str] | None = None) -> int:
    """Serve the review until interrupted; return the exit code."""
    options = _parser().parse_args(arguments)
    try:
        stated = settings.stated(options.configfile)
        config = settings.load(stated, settings.named(options.configfile))
        if options.grant:
            return _grant(config, options)
        return _serve_team(config, options) if options.host else _serve_here(config, options)
    except GlassineError as error:
        sys.stderr.write("".join(f"{finding.sentence()}\n" for finding in error.findings))
        return 2
    except (OSError, OverflowError) as problem:
        sys.stderr.write(f"The port {options.port} cannot be used: {problem}. Try --port 0.\n")
        return 2


if __name__ == "__main__":
    sys.exit(main())
