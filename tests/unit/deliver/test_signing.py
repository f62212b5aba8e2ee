"""Signed bags: who has no key cannot seal a change, and without a usable key nothing leaves."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import warnings
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization as forms
from cryptography.hazmat.primitives.asymmetric import ed25519, x25519

import validate_delivery
from glassine.base.errors import GlassineError
from glassine.deliver import bag, signing, validation
from makers import deliveries, resealed

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import bagit

SECRET = bytes(range(32))


def private_pem(key: ed25519.Ed25519PrivateKey | x25519.X25519PrivateKey) -> bytes:
    return key.private_bytes(forms.Encoding.PEM, forms.PrivateFormat.PKCS8, forms.NoEncryption())


def key_file(folder: Path, secret: bytes = SECRET) -> Path:
    """Write a private key and, beside it, its public half."""
    key = ed25519.Ed25519PrivateKey.from_private_bytes(secret)
    path = folder / f"{secret[0]}.key"
    path.touch(mode=0o600)
    path.write_bytes(private_pem(key))
    public = key.public_key().public_bytes(
        forms.Encoding.PEM, forms.PublicFormat.SubjectPublicKeyInfo
    )
    path.with_suffix(".pub").write_bytes(public)
    return path


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("signed")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root, sign=str(key_file(root))))
    return root


@pytest.fixture
def copy(signed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    deliveries.without_records(monkeypatch)
    shutil.copytree(signed / "deliveries" / "b1", tmp_path / "b1")
    return tmp_path / "b1"


def codes(path: Path, key: Path) -> set[str]:
    verdict = validation.judged(path, key=signing.public_key(key))
    return {finding.code for finding in verdict.wrong}


def test_a_signature_is_that_of_the_standard() -> None:
    # RFC 8032, section 7.1, TEST 2
    secret = bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
    public = bytes.fromhex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c")
    signature = bytes.fromhex(
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    signer = signing.Signer(ed25519.Ed25519PrivateKey.from_private_bytes(secret))
    assert signer.sign(b"\x72") == signature
    key = ed25519.Ed25519PublicKey.from_public_bytes(public)
    assert signing.is_by(key, signature, b"\x72")
    assert not signing.is_by(key, signature, b"\x73")
    assert not signing.is_by(key, signature[:-1], b"\x72")


def test_a_bag_is_signed_and_stays_a_bag(
    signed: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert codes(copy, signed / "0.pub") == set()
    bagit.Bag(str(copy)).validate()
    print_of_key = signing.fingerprint(signing.public_key(signed / "0.pub"))
    assert f"Signing-Key-SHA256: {print_of_key}\n" in (copy / "bag-info.txt").read_text()
    ledger = (signed / "deliveries" / "ledger.jsonl").read_text()
    assert print_of_key in ledger
    assert validate_delivery.main([str(copy), "--key", str(signed / "0.pub")]) == 0
    assert "signature checked" in capsys.readouterr().out
    assert validate_delivery.main([str(copy)]) == 0
    assert "delivered.signature_unchecked" in capsys.readouterr().out


@pytest.mark.skipif(shutil.which("openssl") is None, reason="there is no openssl to compare with")
def test_general_tools_check_it_too(signed: Path, copy: Path) -> None:
    public = str(signed / "0.pub")
    command = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", public, "-rawin"]
    files = ["-in", str(copy / bag.SIGNED), "-sigfile", str(copy / bag.SIGNATURE)]
    assert subprocess.run([*command, *files], check=False, capture_output=True).returncode == 0
    der = ["openssl", "pkey", "-pubin", "-in", public, "-outform", "DER"]
    content = subprocess.run(der, check=True, capture_output=True).stdout
    print_of_key = signing.fingerprint(signing.public_key(signed / "0.pub"))
    assert hashlib.sha256(content).hexdigest() == print_of_key


def _sealed_by_another(root: Path, key: Path) -> None:
    """Change a picture, seal the bag anew and sign it with a key of one's own."""
    signer = signing.signer(str(key_file(root.parent, bytes(range(1, 33)))))
    assert signer is not None
    _resealed(root, key)
    resealed.Bag(root, "mets").edit(
        root / "bag-info.txt",
        r"Signing-Key-SHA256: \w+",
        f"Signing-Key-SHA256: {signer.fingerprint}",
    )
    resealed.seal(root)
    (root / bag.SIGNATURE).write_bytes(signer.sign((root / bag.SIGNED).read_bytes()))


def _resealed(root: Path, key: Path) -> None:
    before = resealed.digests_of(root)
    path = next(root.glob("data/PEH-0001/access/*.jpg"))
    path.write_bytes(path.read_bytes() + b"more")
    resealed.follow(before, root)
    resealed.seal(root)


def _unsigned(root: Path, key: Path) -> None:
    """Take every trace of the signature away, and seal the bag anew."""
    (root / bag.SIGNATURE).unlink()
    resealed.Bag(root, "mets").edit(root / "bag-info.txt", r"Signing-Key-SHA256: \w+\n", "")
    resealed.seal(root)


FORGED: dict[str, tuple[Callable[[Path, Path], None], set[str]]] = {
    "sealed anew": (_resealed, {"delivered.signature"}),
    "sealed and signed by another": (
        _sealed_by_another,
        {"delivered.signature", "delivered.signature_key"},
    ),
    "the signature gone": (
        lambda root, key: (root / bag.SIGNATURE).unlink(),
        {"delivered.signature_missing"},
    ),
    "every trace of it gone": (_unsigned, {"delivered.signature_missing"}),
    "cut short": (
        lambda root, key: (root / bag.SIGNATURE).write_bytes(b"short"),
        {"delivered.signature"},
    ),
    "a file that hides behind the name of a tag manifest": (
        lambda root, key: (root / "tagmanifest-notes.txt.sig").write_bytes(b"hidden"),
        {"bag.tag_unlisted"},
    ),
}


@pytest.mark.parametrize("kind", FORGED)
def test_a_reseal_shows(kind: str, signed: Path, copy: Path) -> None:
    change, expected = FORGED[kind]
    change(copy, signed / "0.key")
    assert codes(copy, signed / "0.pub") == expected


def test_a_signature_taken_out_shows_without_the_key(copy: Path) -> None:
    (copy / bag.SIGNATURE).unlink()
    wrong = {finding.code for finding in validation.judged(copy).wrong}
    assert wrong == {"delivered.signature_missing"}


def _open_to_all(path: Path) -> None:
    path.chmod(0o644)


def _other_kind(path: Path) -> None:
    path.write_bytes(private_pem(x25519.X25519PrivateKey.from_private_bytes(SECRET)))


def _encrypted(path: Path) -> None:
    key = ed25519.Ed25519PrivateKey.from_private_bytes(SECRET)
    hidden = forms.BestAvailableEncryption(b"word")
    path.write_bytes(key.private_bytes(forms.Encoding.PEM, forms.PrivateFormat.PKCS8, hidden))


@pytest.mark.parametrize(
    ("harm", "why"),
    [
        (lambda path: path.unlink(), "No such file"),
        (_open_to_all, "mode 644"),
        (_other_kind, "another kind"),
        (_encrypted, "encrypted"),
        (lambda path: path.write_bytes(b"nothing"), "no private key"),
        (lambda path: (path.unlink(), path.mkdir(0o700)), "no file"),
    ],
)
def test_nothing_leaves_unsigned_for_want_of_a_key(
    harm: Callable[[Path], object], why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    key = key_file(tmp_path)
    given = deliveries.make_batch(tmp_path, 1, sign=str(key))
    harm(key)
    with pytest.raises(GlassineError) as held:
        deliveries.deliver(tmp_path, given)
    (finding,) = held.value.findings
    assert finding.code == "delivery.sign_key"
    assert why in finding.what
    assert not (tmp_path / "deliveries" / "b1").exists()
    assert not list((tmp_path / "deliveries").glob("*.receipt.json"))


def test_a_key_pasted_into_the_settings_is_not_repeated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pasted = private_pem(ed25519.Ed25519PrivateKey.from_private_bytes(SECRET)).decode()
    with pytest.raises(GlassineError) as held:
        signing.signer(pasted)
    assert pasted.splitlines()[1] not in held.value.findings[0].sentence()


def test_a_private_key_is_not_taken_to_check_with(tmp_path: Path) -> None:
    assert validate_delivery.main([str(tmp_path), "--key", str(key_file(tmp_path))]) == 2
