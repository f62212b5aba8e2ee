"""Who may log in to the team's desk: a file of mode 600, a role id and a digest on each line.

A token is 32 random bytes that a person keeps in a password store; the file has its SHA-256 alone
(random tokens of that length need no slow digest). A line that is deleted ends the logins of its
role at once.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
import stat
from pathlib import Path

from glassine.base import files
from glassine.base.errors import GlassineError

ROLE = re.compile(r"[A-Za-z0-9._-]{1,40}")
_LINE = re.compile(r"([A-Za-z0-9._-]{1,40})[ \t]{1,8}([0-9a-f]{64})")
_MAX_BYTES = 1_000_000
# What takes the place of a digest where a role has none, so that all are compared alike.
_NOBODY = bytes(32)


def digest_of(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "replace")).digest()


def _refused(path: Path, what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because("review.tokens", path, what, expected, next_step)


def _content(path: Path) -> str:
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as problem:
        raise _refused(
            path,
            f"The tokens of the reviewers cannot be read: {problem.strerror or problem}.",
            "a file with a line for each role id.",
            "Make it with scripts/review --grant op-07 (a role id of yours).",
        ) from problem
    with os.fdopen(handle, "rb") as opened:
        found = os.fstat(handle)
        others = stat.S_IMODE(found.st_mode) & 0o077
        if not stat.S_ISREG(found.st_mode) or others or found.st_uid not in {0, os.geteuid()}:
            raise _refused(
                path,
                "Others than its owner may read or change the tokens of the reviewers.",
                "a regular file of mode 600 of the user that serves the pages.",
                f"Run chmod 600 {path}, and grant new tokens if others may have read it.",
            )
        return opened.read(_MAX_BYTES).decode("utf-8", "replace")


def read(path: Path) -> dict[str, bytes]:
    """Return the digest of each role's token.

    Raises GlassineError: no such file, one that others may read, a line that is none of a role.
    """
    roles: dict[str, bytes] = {}
    for number, line in enumerate(_content(path).splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        fits = _LINE.fullmatch(line.strip())
        if fits is None or fits[1] in roles:
            raise _refused(
                path,
                f"Line {number} is not that of one role.",
                "a role id, a blank and 64 hexadecimal digits; each role once.",
                "Delete the line, and grant the role a new token.",
            )
        roles[fits[1]] = bytes.fromhex(fits[2])
    return roles


def role_of(roles: dict[str, bytes], token: str) -> str | None:
    """Return whose token it is. Every digest is compared, whichever fits, in the same time."""
    asked = digest_of(token)
    found = None
    for role, digest in [*roles.items(), (None, _NOBODY)]:
        if hmac.compare_digest(asked, digest):
            found = role
    return found


def grant(path: Path, role: str) -> str:
    """Give a role a new token, in place of an old one; return it. Raises GlassineError."""
    if not ROLE.fullmatch(role):
        raise GlassineError.because(
            "review.role",
            role,
            "This cannot be a role id.",
            "up to 40 letters, digits, dots, hyphens or underscores, for example op-07.",
            "Choose another; it is no person's name.",
        )
    roles = read(path) if path.exists() or path.is_symlink() else {}
    token = secrets.token_urlsafe(32)
    roles[role] = digest_of(token)
    text = "# Who may review: role id, SHA-256 of the token. Delete a line to end its logins.\n"
    text += "".join(f"{name} {digest.hex()}\n" for name, digest in roles.items())
    with files.replacing(path) as temporary:
        temporary.touch(mode=0o600)
        temporary.chmod(0o600)
        temporary.write_text(text, "utf-8")
    return token
