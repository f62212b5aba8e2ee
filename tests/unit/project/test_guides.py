"""What the guides say is there: links lead somewhere, commands and their options exist."""

import importlib
import re
import shlex
import subprocess
from functools import cache
from pathlib import Path

import pytest

from glassine.base import settings

PROJECT = settings.PROJECT
# Pages for those who use or change the project; notes beside data of tests are none.
PAGES = [
    *PROJECT.glob("*.md"),
    *(PROJECT / "config").rglob("*.md"),
    *(PROJECT / "scripts").glob("*.md"),
    *(PROJECT / "tests" / "benchmarks").rglob("*.md"),
]
LINK = re.compile(r"(?<!!)\[(?:[^\]\[]|\[[^\]]*\])*\]\(([^)\s]+)\)|!\[[^\]]*\]\(([^)\s]+)\)")
BLOCK = re.compile(r"^```[^\n]*\n(.*?)^```", re.M | re.S)
INLINE = re.compile(r"`([^`\n]+(?:\n[^`\n]+)?)`")
COMMAND = re.compile(r"^(?:\$ |sudo )*(?:\S*python3? (?:-I )?)?(scripts/[a-z_-]+(?:\.py)?)(?:\s|$)")
# Their further options are the engine's, or those of pytest.
PASSES_ON = {"scripts/nightly", "scripts/check"}


def named(pages):
    return {str(path.relative_to(PROJECT)): path for path in sorted(pages)}


def anchors(text):
    """Return the anchors of a page's headings, as the usual renderers of Markdown make them."""
    found = set()
    for title in re.findall(r"^#{1,6} +(.+?) *$", BLOCK.sub("", text), re.M):
        plain = re.sub(r"[`*]", "", title).lower()
        found.add(re.sub(r"[^\w\- ]", "", plain).replace(" ", "-"))
    return found


def dead(path, root=PROJECT):
    text = path.read_text("utf-8")
    bad = []
    for found in LINK.finditer(INLINE.sub("", BLOCK.sub("", text))):
        target = found[1] or found[2]
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        there = (path.parent / name).resolve() if name else path
        leads = there.exists() and there.is_relative_to(root.resolve())
        if leads and anchor and there.suffix == ".md":
            leads = anchor in anchors(there.read_text("utf-8"))
        bad += [] if leads else [target]
    return bad


@pytest.mark.parametrize("name", named(PAGES))
def test_no_link_is_dead(name):
    assert dead(PROJECT / name) == []


def test_a_dead_link_is_seen(tmp_path):
    page = tmp_path / "page.md"
    page.write_text("# One thing\n[a](other.md) [b](#one-thing) [c](#two) [d](https://x.example)\n")
    assert dead(page, tmp_path) == ["other.md", "#two"]


def commands(text):
    """Yield the commands of the project that a page shows, as words."""
    blocks = "\n".join(found[1].replace("\\\n", " ") for found in BLOCK.finditer(text))
    rest = BLOCK.sub("", text)
    lines = [*blocks.splitlines(), *(" ".join(each.split()) for each in INLINE.findall(rest))]
    for line in lines:
        bare = re.sub(r"^.*&& ", "", re.sub(r"\s{2,}#.*$|>>.*$", "", line.strip()))
        if COMMAND.match(bare):
            yield shlex.split(re.sub(r"^(\$ |sudo )+", "", bare).rstrip("\\"))


SHOWN = {
    (name, " ".join(words)): words
    for name, path in named(PAGES).items()
    for words in commands(path.read_text("utf-8"))
}


def script_of(words):
    return next(word for word in words if word.startswith("scripts/"))


def test_every_command_that_is_shown_exists():
    assert len(SHOWN) > 40
    missing = [key for key, words in SHOWN.items() if not (PROJECT / script_of(words)).is_file()]
    assert missing == []


@cache
def options_of(script):
    """Return the options that a command's --help names."""
    text = (PROJECT / script).read_text("utf-8")
    module = re.search(r'"-m", "(glassine\.[a-z_.]+)"', text)
    if module is None:
        done = subprocess.run(
            [str(PROJECT / ".venv" / "bin" / "python"), script, "--help"],
            cwd=PROJECT,
            capture_output=True,
            text=True,
            timeout=120,
            env={"PYTHONPATH": str(PROJECT / "scripts"), "PATH": "/usr/bin:/bin"},
        )
        said = done.stdout
    else:
        said = help_of(importlib.import_module(module[1]))
    return {*re.findall(r"(?<![\w-])--[a-z][a-z-]*", said)}


def help_of(module):
    import contextlib
    import io

    said = io.StringIO()
    with contextlib.redirect_stdout(said), pytest.raises(SystemExit):
        module.main(["--help"])
    return said.getvalue()


@pytest.mark.parametrize("script", sorted({script_of(words) for words in SHOWN.values()}))
def test_every_option_that_is_shown_is_one_of_the_commands(script):
    if script in PASSES_ON or not (PROJECT / script).is_file():
        return
    wanted = {
        (key[0], word.partition("=")[0])
        for key, words in SHOWN.items()
        if script_of(words) == script
        for word in words
        if word.startswith("--")
    }
    known = options_of(script) if wanted else set()
    assert {(page, word) for page, word in wanted if word not in known} == set()


def test_an_unknown_option_would_be_seen():
    assert "--at" in options_of("scripts/service") and "--att" not in options_of("scripts/service")
    assert list(commands("`scripts/service install --at\n21:00`")) == [
        ["scripts/service", "install", "--at", "21:00"]
    ]
    assert isinstance(PAGES[0], Path)
