"""Tell somebody how the night went: by mail or to a web address, only where the settings say so."""

from __future__ import annotations

import json
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from glassine.base import wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.visible import visible
from glassine.night import monitoring

_PATIENCE_S = 20


def headline(summary: dict[str, Any]) -> str:
    """Return the summary in one line.

    >>> headline({"finished": 3, "held": 1, "waiting": 0, "left": 0})
    'Glassine: 3 finished, 1 held'
    """
    words = ("finished", "held", "waiting", "left")
    parts = [f"{summary[word]} {word}" for word in words if summary[word]]
    problems = summary.get("problems", 0)
    if problems:
        parts.append(f"{problems} {'problem' if problems == 1 else 'problems'}")
    return f"Glassine: {', '.join(parts) or 'nothing to do'}"


def message(mail: dict[str, Any], summary: dict[str, Any]) -> EmailMessage:
    """Return the mail: the headline as its subject, a line a batch, the summary as JSON."""
    built = EmailMessage()
    built["Subject"] = headline(summary)
    built["From"] = mail["sender"]
    built["To"] = ", ".join(mail["to"])
    lines = [
        f"{each['batch']}: {each['finished']} of {each['total']} finished, {each['held']} held, "
        f"{each['waiting']} waiting, {each['left']} left"
        for each in summary["batches"]
    ]
    lines += [_problem_line(each["path"], each) for each in summary.get("findings", [])]
    for batch in summary["batches"]:
        lines += [_problem_line(batch["batch"], each) for each in batch.get("findings", [])]
    built.set_content("\n".join([*lines, ""]))
    built.add_attachment(
        json.dumps(summary, indent=2).encode(),
        maintype="application",
        subtype="json",
        filename="summary.json",
    )
    return built


def _problem_line(where: str, finding: dict[str, Any]) -> str:
    return visible(f"{where}: {finding['what']} Next step: {finding['next_step']}")


def _mail(mail: dict[str, Any], summary: dict[str, Any]) -> None:
    import smtplib  # loaded where mail is sent; what it raises is an OSError

    with smtplib.SMTP(mail["host"], mail["port"], timeout=_PATIENCE_S) as server:
        server.send_message(message(mail, summary))


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """The summary goes to the address in the settings and to no other."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


def post(address: str, document: dict[str, Any]) -> None:
    """Send a document as JSON to a web address, and to no other that it may lead to.

    Raises OSError or ValueError where it does not arrive.
    """
    if urllib.parse.urlsplit(address).scheme not in {"http", "https"}:
        raise ValueError("the address does not begin with http:// or https://")
    request = urllib.request.Request(  # noqa: S310 - the scheme is checked above
        address,
        json.dumps(document).encode(),
        {"Content-Type": "application/json"},
        method="POST",
    )
    opener = urllib.request.build_opener(_NoRedirect)
    try:
        with opener.open(request, timeout=_PATIENCE_S):
            pass
    except urllib.error.HTTPError as refused:
        refused.close()  # the answer is an open connection
        raise


def send(configured: dict[str, Any], summary: dict[str, Any]) -> None:
    """Send the summary where the section `report.notify` says; both ways are tried.

    configured: {"webhook": address or None, "mail": {"host", "port", "sender", "to"}}, no mail
    where `to` is empty; "textfile": path
    of a file of metrics or None. Raises GlassineError for each way that failed: the night's work
    stands.
    """
    webhook, mail = configured["webhook"], configured["mail"]
    textfile = configured.get("textfile")
    ways: list[tuple[str, str, Callable[[], None]]] = []
    if webhook:
        ways.append(("webhook", webhook, lambda: post(webhook, summary)))
    if mail["to"]:
        ways.append(("mail", mail["host"], lambda: _mail(mail, summary)))
    if textfile:
        ways.append(("textfile", textfile, lambda: monitoring.write(Path(textfile), summary)))
    failed = []
    for name, place, action in ways:
        try:
            action()
        except (OSError, ValueError) as problem:
            is_file = name == "textfile"
            why = wording.why(problem) if isinstance(problem, OSError) else str(problem)
            failed.append(
                Finding(
                    f"notify.{name}",
                    place,
                    f"The summary could not be {'written' if is_file else 'sent'}: {why}.",
                    "a folder that this user may write to."
                    if is_file
                    else "a server that takes it.",
                    f"Correct `report.notify.{name}`; the night's work is not affected.",
                )
            )
    if failed:
        raise GlassineError(failed)
