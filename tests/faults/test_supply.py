"""What no code of this project does, and that every package is locked by its hash."""

import ast
import re

import pytest

from glassine.base import settings

PROJECT = settings.PROJECT
SOURCES = sorted(
    [*(PROJECT / "scripts").rglob("*.py"), *(PROJECT / "scripts" / "glassine").rglob("*.py")]
)
FORBIDDEN = {"eval", "exec", "compile", "__import__"}
MODULES = {"pickle", "marshal", "shelve", "dill", "joblib", "xml.etree.ElementTree", "xml.sax"}


def calls(tree):
    return [node for node in ast.walk(tree) if isinstance(node, ast.Call)]


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PROJECT)))
def test_nothing_is_evaluated_unpickled_or_given_to_a_shell(path):
    tree = ast.parse(path.read_text("utf-8"))
    for call in calls(tree):
        name = ast.unparse(call.func)
        assert name not in FORBIDDEN, name
        assert name not in {"os.system", "os.popen", "subprocess.getoutput"}, name
        assert not any(word.arg == "shell" for word in call.keywords), ast.unparse(call)
        if name in {"yaml.load", "yaml.load_all"}:
            # Strict and safe both: what a person wrote, and the project's own files by libyaml.
            assert re.search(r"Loader=_(Strict|Own)Loader\b", ast.unparse(call))
    for node in ast.walk(tree):
        names = [each.name for each in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        assert not MODULES & set(names), names


def test_no_rule_builds_a_shell_command():
    for path in [PROJECT / "Snakefile", *(PROJECT / "rules").glob("*.smk")]:
        assert not re.search(r"^\s*shell:|\bshell\(", path.read_text("utf-8"), re.MULTILINE), path


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-test.lock"])
def test_every_package_is_locked_by_version_and_hash(name):
    text = re.sub(r"\\\n\s*", " ", (PROJECT / name).read_text("utf-8"))
    lines = [
        line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")
    ]
    assert len(lines) > 20
    for line in lines:
        assert re.match(r"[A-Za-z0-9._\[\]-]+==\S+ .*--hash=sha256:[0-9a-f]{64}", line), line
