"""A detached signature over the manifests of a bag: Ed25519 (RFC 8032).

What is signed is tagmanifest-sha512.txt, which lists the payload manifests and every other tag
file, so that nothing of the bag can change unseen; who makes the manifests anew lacks the key. The
signature is the bare 64 bytes, which general tools check too. A key is known by its fingerprint:
the SHA-256 of its public half (DER, SubjectPublicKeyInfo of RFC 8410).
"""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from glassine.base.errors import GlassineError
from glassine.deliver import bag

if TYPE_CHECKING:  # loaded where a key is used: most nights use none
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

# The tag of bag-info.txt that says whose signature a bag has.
LABEL = "Signing-Key-SHA256"
SIGNATURE_BYTES = 64
_MAX_KEY_BYTES = 16_384


class Unusable(Exception):
    """A key that cannot be used; its text says why and holds nothing of the key."""


@dataclass(frozen=True)
class Signer:
    """Who signs: a private key that was read from its file. Nothing prints it."""

    key: Ed25519PrivateKey

    def __repr__(self) -> str:
        return f"Signer({self.fingerprint})"

    @cached_property
    def fingerprint(self) -> str:
        return fingerprint(self.key.public_key())

    def sign(self, content: bytes) -> bytes:
        return self.key.sign(content)


def signer(setting: str) -> Signer | None:
    """Return who signs, None where the setting `delivery.sign` is empty.

    Raises GlassineError where the key cannot be used: nothing leaves unsigned then.
    """
    if not setting:
        return None
    path = Path(setting)
    try:
        if not path.is_absolute():
            raise Unusable("the setting is not the whole path of a file, from the root on")
        return Signer(_private(_kept_secret(path)))
    except Unusable as problem:
        raise GlassineError.because(
            "delivery.sign_key",
            str(path) if path.is_absolute() else "delivery.sign",
            f"The key to sign deliveries with cannot be used: {problem}.",
            "a private Ed25519 key (PEM), not encrypted, in a file that its owner alone may read.",
            "Bring the key back or correct delivery.sign; chmod 600 where others may read it. "
            "Nothing is delivered until then; empty, delivery.sign delivers without a signature.",
        ) from problem


def _kept_secret(path: Path) -> bytes:
    """Return the file of a private key that nobody but its owner may read. Raises Unusable."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except (OSError, ValueError) as problem:
        raise Unusable(getattr(problem, "strerror", None) or "it cannot be opened") from problem
    try:
        state = os.fstat(handle)
        if not stat.S_ISREG(state.st_mode):
            raise Unusable("it is no file")
        if state.st_mode & 0o077:
            raise Unusable(f"others than its owner may use it (mode {state.st_mode & 0o777:o})")
        if state.st_uid not in (os.geteuid(), 0):
            raise Unusable("it belongs to another user")
        return os.read(handle, _MAX_KEY_BYTES)
    except OSError as problem:
        raise Unusable(problem.strerror or "it cannot be read") from problem
    finally:
        os.close(handle)


def _private(content: bytes) -> Ed25519PrivateKey:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    try:
        key = serialization.load_pem_private_key(content, password=None)
    except TypeError as problem:
        raise Unusable("it is encrypted") from problem
    except (ValueError, UnsupportedAlgorithm) as problem:
        raise Unusable("it holds no private key in PEM") from problem
    if not isinstance(key, Ed25519PrivateKey):
        raise Unusable("its key is of another kind than Ed25519")
    return key


def public_key(path: Path) -> Ed25519PublicKey:
    """Return the public key in a PEM file. Raises Unusable; a private key is none: who checks
    deliveries has no need of it."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        with path.open("rb") as opened:
            key = serialization.load_pem_public_key(opened.read(_MAX_KEY_BYTES))
    except OSError as problem:
        raise Unusable(problem.strerror or "it cannot be read") from problem
    except (ValueError, UnsupportedAlgorithm) as problem:
        raise Unusable("it holds no public key in PEM") from problem
    if not isinstance(key, Ed25519PublicKey):
        raise Unusable("its key is of another kind than Ed25519")
    return key


def fingerprint(key: Ed25519PublicKey) -> str:
    """Return the SHA-256 of a public key, hexadecimal."""
    from cryptography.hazmat.primitives import serialization

    form = serialization.PublicFormat.SubjectPublicKeyInfo
    return hashlib.sha256(key.public_bytes(serialization.Encoding.DER, form)).hexdigest()


def stated_in(info: bytes) -> str:
    """Return the fingerprint that a bag-info.txt states, "" where it states none. Raises
    ValueError for what is no bag-info.txt."""
    tags = bag.parsed_info(info.decode("utf-8"))
    return next((value for label, value in tags if label == LABEL), "")


def is_by(key: Ed25519PublicKey, signature: bytes, content: bytes) -> bool:
    """Return whether a signature over `content` was made with the private half of a key."""
    from cryptography.exceptions import InvalidSignature

    try:
        key.verify(signature, content)
    except InvalidSignature:
        return False
    return True
