"""What both review servers share: which files are served, how a request is read and refused."""

from __future__ import annotations

import json
import os
from http import HTTPStatus
from pathlib import Path
from typing import Any

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.review.session import Refused

MAX_BODY_BYTES = 1_000_000
_MAX_DIGITS = 9
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".jpg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
    ".avif": "image/avif",
    ".jp2": "image/jp2",
    ".xml": "application/xml",
    ".txt": "text/plain; charset=utf-8",
}
# What of `results/<batch>/` the page refers to; logs, locks and the rest are not served.
_SERVED = ("report", "items")
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def file_in(results: Path, place: str) -> tuple[bytes, str]:
    """Return content and type of a file of the batch. Raises Refused where it is not served."""
    try:
        path = files.inside(results, place)
    except ValueError as problem:
        raise Refused(HTTPStatus.NOT_FOUND, "Not found.") from problem
    kind = TYPES.get(path.suffix.lower())
    hidden = any(part.startswith(".") for part in place.split("/"))
    if place.split("/")[0] not in _SERVED or kind is None or hidden or not path.is_file():
        raise Refused(HTTPStatus.NOT_FOUND, "Not found.")
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    with os.fdopen(handle, "rb") as opened:
        return opened.read(), kind


def length_of(stated: str, most: int = MAX_BODY_BYTES) -> int:
    """Return the length of a body as its header states it. Raises Refused for another than a
    number up to `most`."""
    if not stated.isascii() or not stated.isdigit():
        raise Refused(HTTPStatus.LENGTH_REQUIRED, "The length of the request is not told.")
    if len(stated) > _MAX_DIGITS or int(stated) > most:
        raise Refused(
            HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "That is too much at once: save in parts."
        )
    return int(stated)


def value_of(body: bytes) -> Any:
    """Return the JSON of a body. Raises ValueError, RecursionError."""
    return json.loads(body, object_pairs_hook=_no_key_twice)


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    mapping = dict(pairs)
    if len(mapping) != len(pairs):
        raise ValueError("a key stands twice")
    return mapping


def refusal_of(problem: Exception) -> tuple[HTTPStatus, str]:
    """Return what a client is answered for a problem: a person gets words whatever was sent."""
    if isinstance(problem, Refused):
        return problem.status, str(problem)
    if isinstance(problem, GlassineError):
        return HTTPStatus.UNPROCESSABLE_ENTITY, str(problem)
    if isinstance(problem, RecursionError):
        return HTTPStatus.BAD_REQUEST, "Refused: lists or mappings are nested too deep."
    if isinstance(problem, OSError | ValueError):
        return HTTPStatus.BAD_REQUEST, f"Refused: {problem}"
    what = f"This could not be answered: {type(problem).__name__}. Nothing was saved."
    return HTTPStatus.BAD_REQUEST, what
