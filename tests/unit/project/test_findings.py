"""config/findings.md names every finding that the sources can make, in plain words."""

import re
import sys
from collections import defaultdict

import pytest

from glassine import steps
from glassine.base import settings

sys.path.insert(0, str(settings.PROJECT / "scripts"))
import document_findings

# What a code may begin with, and what it is about.
PREFIXES = {
    "audit": "masters, results and deliveries read again",
    "bag": "a delivered bag, by BagIt alone",
    "catalogue": "the catalogue extract of a batch",
    "contracts": "a record of the night against its schema",
    "corrections": "corrections.yaml",
    "delivered": "a delivery, beyond its bag",
    "delivery": "making a delivery",
    "develop": "the step, of raw masters",
    "ledger": "the ledger of all deliveries",
    "digest": "digests before sending, a watched part of the run",
    "embed": "the step",
    "facts": "batch.yaml against the batch",
    "fetch": "masters from a storage",
    "files": "a file of the results",
    "films": "the films of a batch",
    "formats": "the formats of files in a package",
    "handover": "what a collections system is handed back",
    "identifiers": "ARKs that are made",
    "intake": "the step",
    "item": "the job of an item as a whole, watched",
    "locate": "the step",
    "look": "the step",
    "masters": "a master as a TIFF",
    "naming": "names of masters and of derivatives",
    "notify": "the summary that is sent",
    "pack": "the step",
    "plan": "what there is to be done",
    "progress": "the look at a run",
    "publish": "the published tree",
    "service": "a night that the system runs",
    "quality": "limits of quality",
    "record": "the step",
    "render": "the step",
    "report": "the morning's page",
    "reproduce": "pictures made again",
    "review": "the review page",
    "run": "the run as a whole",
    "send": "deliveries to a storage",
    "settings": "config.yaml",
    "deliver": "the step, watched; its own findings begin with delivery",
    "targets": "captures of targets",
    "tidy": "what may be removed",
    "tone": "encodings and profiles",
    "verify": "the step",
    "withdraw": "scripts/withdraw",
}
CODE = re.compile(r"[a-z]+\.(<key>|[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*)*)")
# Codes that several modules make, and why they mean the same there.
IN_SEVERAL = {
    "intake.look_alike": "a name like that of a side file, a content like that of a checksum list",
    "plan.masters": "no folder of masters: as a command begins, and as a run does",
    "render.unreadable": "a master that cannot be read while it is rendered: opened, and decoded",
    "report.deliveries": "deliveries that cannot be read: as a whole, and item by item",
    "report.record": "a damaged record: found with the states of items, and with their details",
    "targets.description": "a description of a target that cannot be used: its name, its content",
}
FORBIDDEN = {
    "told, mend, leaves with": re.compile(r"\b(untold|told|mends?|mended|leaves with)\b", re.I),
    "a regular expression": re.compile(
        r"\(\?|\[\^|\[[0-9a-zA-Z]-[0-9a-zA-Z]|\\[dwsb.]|\.\*|\)[?*+]"
    ),
    "a type of the language": re.compile(
        r"\b(dict|str|int|float|bool|tuple|NoneType|None|True|False|traceback|\w*Exception"
        r"|[A-Z]\w*Error|__\w+__)\b"
    ),
}
# Unforeseen ends: whoever maintains the installation needs the kind of the error.
KIND_NEEDED = {f"{step}.unexpected" for step in (*document_findings.WATCHED, "run")}
# What stands at the end of a text and is a sentence, or the lines to write, itself.
SENTENCES = (
    "near}",
    "more_memory}",
    "what}",
    "why}",
    "other}",
    "expected}",
    "otherwise}",
    "sections}",
    "entry}",
    "name_words}",
)
QUOTED = re.compile(r"`[^`]*`")
COMMAND = re.compile(r"(snakemake|scripts/)[^:]*$")


def entries():
    return document_findings.entries()


def texts(entry):
    return [
        (entry.code, text)
        for part in (entry.what, entry.expected, entry.next_step)
        for text in part.split(document_findings.OR)
    ]


TEXTS = [pair for entry in entries() for pair in texts(entry)]


def read(text, name="night/made_up.py"):
    module = document_findings.parsed(name, text)
    return document_findings.Reader((module,)).read()


def test_the_page_is_as_the_sources_have_it():
    written = (settings.PROJECT / "config" / "findings.md").read_text("utf-8")
    assert written == document_findings.page(), "run scripts/document_findings.py"


def test_the_command_tells_a_page_that_is_not_current(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["document_findings.py", "--check"])
    assert document_findings.main() == 0
    monkeypatch.setattr(document_findings, "PAGE", tmp_path / "findings.md")
    assert document_findings.main() == 1
    (tmp_path / "findings.md").write_text("of yesterday")
    assert document_findings.main() == 1


def test_every_code_stands_in_the_page_once():
    rows = re.findall(r"^\| `([^`]+)` \|", document_findings.page(), re.M)
    assert rows == sorted({entry.code for entry in entries()})
    assert len(rows) > 300


def test_every_code_written_out_in_the_sources_stands_in_the_page():
    """Read in another way: by its form alone, wherever a call's first argument is a code."""
    source = "\n".join(path.read_text("utf-8") for path in document_findings.PACKAGE.rglob("*.py"))
    written = set(re.findall(r'(?:Finding|because)\(\s*"([a-z]+\.[a-z_0-9.]+)"', source))
    assert len(written) > 100
    assert written <= {entry.code for entry in entries()}


def test_codes_have_their_form_and_a_known_prefix():
    codes = {entry.code for entry in entries()}
    assert [code for code in codes if not CODE.fullmatch(code)] == []
    assert {code.partition(".")[0] for code in codes} == set(PREFIXES)


def test_the_watched_parts_of_the_run_are_all_listed():
    scripts = "\n".join(path.read_text("utf-8") for path in document_findings.SCRIPTS.glob("*.py"))
    watched = set(re.findall(r'(?:batch_step|file_step)\("(\w+)"', scripts))
    assert len(watched) > 4
    assert set(document_findings.WATCHED) == watched | {step.name for step in steps.STEPS} | {
        "item"
    }


def test_a_code_is_made_in_one_module():
    modules = defaultdict(set)
    for entry in entries():
        modules[entry.code].add(entry.module)
    several = {code for code, names in modules.items() if len(names) > 1}
    # A record against its type: one helper reads and writes them all, for every step.
    several -= {code for code in several if code.startswith("contracts.")}
    assert several == set(IN_SEVERAL)


@pytest.mark.parametrize("what", FORBIDDEN)
def test_texts_are_in_plain_words(what):
    wrong = [(code, text) for code, text in TEXTS if FORBIDDEN[what].search(QUOTED.sub("", text))]
    assert wrong == []


def test_texts_name_no_kind_of_error_where_words_can_say_it():
    assert {code for code, text in TEXTS if "{kind}: " in text} <= KIND_NEEDED


def test_texts_are_sentences():
    wrong = [
        (code, text)
        for code, text in TEXTS
        if not re.search(r"[.?]\]?$", text)
        and not COMMAND.search(text)
        and text.rpartition("{")[2] not in SENTENCES
    ]
    assert [pair for pair in wrong if pair != ("report.finding", "")] == []


def test_every_finding_says_what_is_wrong_and_what_to_do():
    bare = re.compile(r"(\{\w+\}\W*)*")
    wrong = [entry for entry in entries() if bare.fullmatch(entry.next_step)]
    assert wrong == []
    assert {entry.code for entry in entries() if bare.fullmatch(entry.what)} == set()


HELPER = """
from glassine.base.errors import Finding

def _finding(code, what, severity="hold"):
    return Finding(f"run.{code}", "here", what, "other.", "Do it.", severity)

"""


def test_codes_of_a_helper_are_those_of_its_calls():
    found = read(
        HELPER + 'def a():\n    _finding("one", "One.")\n    _finding("two", "Two.", "note")\n'
    )
    assert [(each.code, each.what, each.severity) for each in found] == [
        ("run.one", "One.", "hold"),
        ("run.two", "Two.", "note"),
    ]


def test_a_text_is_that_of_the_assignment_before_it():
    body = 'def a(x):\n    what = f"Of {x}."\n    _finding("one", what)\n    what = "B."\n    return what\n'
    assert [each.what for each in read(HELPER + body)] == ["Of {x}."]


@pytest.mark.parametrize(
    "body",
    [
        "def a(code):\n    _finding(code.name, 'A.')\n",
        "def a(codes):\n    for code in codes:\n        _finding(code, 'A.')\n",
        "def a(level):\n    _finding('one', 'A.', level.name)\n",
        "def a():\n    _finding('one', 'A.', 'grave')\n",
        "",  # a helper that nobody calls
        "def a(given):\n    return Finding(**given)\n",
        "def a(one):\n    _finding('one', 'A.')\n    return replace(one, severity='note')\n",
    ],
)
def test_a_finding_that_cannot_be_read_stops_the_page(body):
    with pytest.raises(document_findings.Unreadable, match=r"night/made_up\.py"):
        read(HELPER + body)
