"""The program in a bag that checks it: run by a bare Python, as a receiver would run it."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from glassine.deliver import bag, validation
from makers import deliveries, resealed

PROGRAM = Path("delivery/check_bag.py")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("checked")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root, validator=True))
    return root / "deliveries" / "b1"


@pytest.fixture
def copy(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    deliveries.without_records(monkeypatch)
    return Path(shutil.copytree(made, tmp_path / "b1"))


def run(root: Path, *arguments: str) -> tuple[int, str]:
    """Run the program of a bag by itself: no site packages, no environment."""
    command = [sys.executable, "-I", "-S", str(root / PROGRAM), *arguments]
    done = subprocess.run(command, check=False, capture_output=True, text=True, env={}, cwd="/")
    assert done.stderr == ""
    return done.returncode, done.stdout


def test_it_says_that_a_sound_bag_is_whole(copy: Path) -> None:
    there = [path for path in copy.rglob("*") if path.is_file()]
    count = len([path for path in there if not path.name.startswith("tagmanifest-")])
    size = sum(p.stat().st_size for p in there if not p.name.startswith("tagmanifest-"))
    assert run(copy) == (0, f"whole and valid; {count} files read ({size} bytes)\n")
    assert validation.judged(copy).wrong == []  # as one of its tag files


def test_it_needs_no_more_than_python_3_8(made: Path) -> None:
    source = (made / PROGRAM).read_text("utf-8")
    tree = ast.parse(source, feature_version=(3, 8))
    modules = {
        alias.name if isinstance(node, ast.Import) else str(node.module)
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for alias in node.names
    }
    assert {name.split(".")[0] for name in modules} <= set(sys.stdlib_module_names)
    # Methods of texts, paths and digests that are younger than 3.8 (its library's documentation).
    assert not {"removeprefix", "removesuffix", "file_digest", "is_relative_to"} & {
        node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)
    }


def _access(root: Path) -> Path:
    return next(root.glob("data/PEH-0001/access/*.jpg"))


def _append(root: Path, name: str, line: str) -> None:
    with (root / name).open("a", encoding="utf-8") as opened:
        opened.write(line)


def _damaged(root: Path) -> None:
    content = bytearray(_access(root).read_bytes())
    content[100] ^= 1
    _access(root).write_bytes(bytes(content))


def _linked(root: Path) -> None:
    path = _access(root)
    path.unlink()
    path.symlink_to("/etc/hostname")


def _left_out(root: Path) -> None:
    """Take a file out and seal the bag anew: delivery.json and the hand-over list still tell."""
    statement = (root / "delivery/delivery.json").read_bytes()
    _access(root).unlink()
    resealed.seal(root)
    (root / "delivery/delivery.json").write_bytes(statement)
    for name, place in (("sha256", 0), ("sha512", 1)):
        listed = resealed.digests_of(root)
        lines = [
            f"{value[place]}  {path}\n"
            for path, value in listed.items()
            if not path.startswith(("data/", "tagmanifest-"))
        ]
        (root / f"tagmanifest-{name}.txt").write_text("".join(lines))


HOSTILE = "../../../../etc/passwd"
HARMED: dict[str, tuple[Callable[[Path], object], str]] = {
    "a byte": (_damaged, "its bytes were changed: sha256, sha512 differ"),
    "a file gone": (lambda root: _access(root).unlink(), "it is listed, but it is not there"),
    "a file put in": (
        lambda root: (root / "data/PEH-0001/more.txt").write_text("more"),
        "more.txt: the lists of sha256, sha512 do not name it",
    ),
    "a tag file put in": (
        lambda root: (root / "delivery/more.txt").write_text("more"),
        "delivery/more.txt: the lists of sha256, sha512 do not name it",
    ),
    "a file that is called like a tag manifest": (
        lambda root: (root / "tagmanifest-more.txt").write_text("more"),
        "tagmanifest-more.txt: the lists of sha256, sha512 do not name it",
    ),
    "a link": (_linked, "this is a link or device, no file"),
    "a pipe": (lambda root: os.mkfifo(root / "data/PEH-0001/pipe"), "no file"),
    "a path that leads out": (
        lambda root: _append(root, "manifest-sha256.txt", f"{'0' * 64}  data/{HOSTILE}\n"),
        "which it may not list",
    ),
    "a path from the root": (
        lambda root: _append(root, "tagmanifest-sha256.txt", f"{'0' * 64}  /etc/passwd\n"),
        "which it may not list",
    ),
    "a manifest gone": (
        lambda root: (root / "manifest-sha512.txt").unlink(),
        "manifest-sha512.txt: it is missing",
    ),
    "no UTF-8": (
        lambda root: (root / "manifest-sha256.txt").write_bytes(b"\xff\xfe"),
        "it cannot be read as UTF-8",
    ),
    "deep JSON": (
        lambda root: (root / "delivery/handover.json").write_text("[" * 100_000),
        "it is not built as it should be",
    ),
    "files to fetch": (
        lambda root: (root / "fetch.txt").write_text("https://elsewhere.example/a - data/a\n"),
        "still to be fetched",
    ),
    "another Payload-Oxum": (
        lambda root: _append(root, "bag-info.txt", "Payload-Oxum: 1.1\n"),
        "Payload-Oxum is",
    ),
    "a file left out, lists made anew": (_left_out, "files are not the"),
}


@pytest.mark.parametrize("kind", HARMED)
def test_it_says_what_is_wrong(kind: str, copy: Path) -> None:
    harm, said = HARMED[kind]
    harm(copy)
    code, printed = run(copy)
    assert code == 1
    assert said in printed
    assert "root:" not in printed  # of /etc/passwd
    assert [each for each in bag.validate(copy) if each.severity == "hold"] or "lists" in kind


def test_names_with_controls_are_printed_visibly(copy: Path) -> None:
    (copy / "data" / "PEH-0001" / "a\x1b[31m\nwhole and valid").write_text("x")
    code, printed = run(copy)
    assert code == 1
    assert "\x1b" not in printed
    assert "whole and valid" not in printed.splitlines()


def test_what_is_no_bag(copy: Path, tmp_path: Path) -> None:
    code, printed = run(copy, str(tmp_path))
    assert code == 2
    assert "no bag" in printed
