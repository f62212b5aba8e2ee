"""Whatever a name, a cell or a list holds, reading it takes time in proportion to its length.

Each measure is the processor time of this process, the least of a few tries, and twice the text may
take at most three times as long: a quadratic way takes four times. What is quick even at the full
length is not compared.
"""

import ast
import random
import re
import time
from pathlib import Path

import msgspec
import pytest

from glassine.base import edtf, naming, normal, settings
from glassine.intake import checksums, companions, date_words
from glassine.intake.catalogue import extract, rows
from glassine.intake.given import CatalogueSettings

PACKAGE = settings.PROJECT / "scripts" / "glassine"
# Texts below this never keep anybody waiting, s.
QUICK_S = 0.04
# Repeated, these are what makes a pattern go back and forth.
PIECES = [
    " ", "\t", "\n", "a", "0", "0a", "-", "_", ".", ",", ";", ":", "/", "\\", "<", ">", "(", ")",
    "[", "]", "=", "'", '"', "%", "#", "?", "a?b", "a ", " a", "://", "a://", "http://", " <a:b",
    "<a:", "1-", "1 - ", "1,", "\u0301", "\u0301\u0323", "é", "Ã", "\u2013", "a: ", "A.A-", "=1-9",
]  # fmt: skip


def seconds(action, text):
    """Return the least processor time of three tries; of one, where it is long or short enough."""
    least = None
    for _ in range(3):
        start = time.process_time()
        action(text)
        spent = time.process_time() - start
        least = spent if least is None else min(least, spent)
        if spent < QUICK_S or spent > 5:
            break
    return least


def assert_linear(action, make, length):
    """make: text of a number of characters. Compare `length` with half of it."""
    whole = seconds(action, make(length))
    if whole < QUICK_S:
        return
    half = seconds(action, make(length // 2))
    assert whole < 3 * half or seconds(action, make(length)) < 3 * half, (
        f"{length // 2} characters take {half:.3f} s, {length} take {whole:.3f} s"
    )


def repeated(piece, head="", tail=""):
    return lambda length: head + (piece * (length // len(piece) + 1))[:length] + tail


# --- every pattern of the package --------------------------------------------------------

# Applied to texts that are cut or refused before: MAX_CHARS of dates, the template of a setting.
BOUNDED = {"date_words.py", "date_points.py", "date_languages.py"}
PLAIN_CALLS = {"compile", "match", "fullmatch", "search", "sub", "split", "findall", "finditer"}


def spelt_patterns(tree):
    """Yield each call of `re` whose pattern is spelt out, as (call's name, pattern, node)."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and isinstance(node.func.value, ast.Name)
            and node.func.value.id == "re"
            and node.func.attr in PLAIN_CALLS
            and isinstance(node.args[0], ast.Constant)
            and isinstance(node.args[0].value, str)
        ):
            yield node.func.attr, node.args[0].value, node


def ways_of(tree, compiled):
    """Return how the names of compiled patterns are used: {pattern: {"fullmatch", ...}}."""
    names = {
        target.id: node.value.args[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and node.value in compiled
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    ways = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            pattern = names.get(node.value.id)
            if pattern is not None and node.attr in PLAIN_CALLS:
                ways.setdefault(pattern, set()).add(node.attr)
    return ways


def patterns():
    """Return every pattern that the package's sources spell out: {place: (pattern, ways)}."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.name in BOUNDED:
            continue
        tree = ast.parse(path.read_text("utf-8"))
        spelt = list(spelt_patterns(tree))
        ways = ways_of(tree, [node for how, _, node in spelt if how == "compile"])
        for how, pattern, node in spelt:
            used = ways.get(pattern, {"search"}) if how == "compile" else {how}
            found[f"{path.relative_to(PACKAGE)}:{node.lineno}"] = (pattern, used)
    assert len(found) > 30
    return found


@pytest.mark.parametrize(("pattern", "used"), patterns().values(), ids=patterns())
def test_a_pattern_takes_time_in_proportion_to_the_text(pattern, used):
    compiled = re.compile(pattern)
    ways = {
        compiled.match
        if how == "match"
        else compiled.fullmatch
        if how == "fullmatch"
        else compiled.search
        if how == "search"
        else compiled.findall
        for how in used
    }
    for way in ways:
        for piece in PIECES:
            for head, tail in (("", ""), ("a", "!"), ("0" * 64 + " ", "\n!")):
                assert_linear(way, repeated(piece, head, tail), 20_000)


# --- whole readers -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def reader():
    config = settings.load({})
    columns = {name: [name] for name in extract.FIELDS}
    sections = msgspec.convert(config, CatalogueSettings)
    return rows.RecordReader(Path("catalogue.csv"), sections, columns, narrow=True)


@pytest.mark.parametrize("column", extract.FIELDS)
def test_a_cell_of_any_column_takes_time_in_proportion_to_its_length(reader, column):
    def read(text):
        cells = {"item_id": "PEH-0001", "title": "Quay", column: text}
        reader.record(extract.Row(2, cells), [])

    for piece in PIECES:
        for head in ("", "1"):
            assert_linear(read, repeated(piece, head, "!"), extract.MAX_CELL - 2)


@pytest.mark.parametrize("piece", PIECES)
def test_a_checksum_list_takes_time_in_proportion_to_its_length(piece):
    kind = checksums.kind_of("checksums.txt")
    files = checksums.Files([f"PEH-{number:04d}.tif" for number in range(1000)])

    def read(text):
        checksums.join("checksums.txt", checksums.parse(text.encode(), kind), kind, files)

    digest = "ab" * 32
    assert_linear(read, repeated(piece), 60_000)
    assert_linear(read, repeated(f"{digest} {piece * 40}\n"), 60_000)
    assert_linear(read, repeated(f"{piece * 2000} {digest}\n"), 60_000)


@pytest.mark.parametrize("piece", PIECES)
def test_normal_form_takes_time_in_proportion_to_the_length(piece):
    assert_linear(normal.nfc, repeated(piece, "a"), 60_000)


def test_normal_form_is_that_of_the_library_for_what_people_write():
    """Against unicodedata: long texts, cut at random, of scripts with and without marks."""
    import unicodedata

    random.seed(4)
    letters = "aé e\u0301ŁO\u0308 Ω港가\u1100\u1161\u11a8が\u304b\u3099ש\u05bc\u0915\u093c."
    for _ in range(300):
        text = "".join(random.choices(letters, k=random.randrange(400, 3000)))
        assert normal.nfc(text) == unicodedata.normalize("NFC", text)


def test_dates_of_any_words_are_read_at_once():
    random.seed(5)
    words = [
        "1906", "c. ", " or ", " and ", "-", "\u2013", "?", "[", "]", "(", ")", "the ", "early ",
        "19th ", "century", "between ", "before ", " ", ",", ";", "negative", "print", "to ", "X",
        "s", "summer ", "May ", "1", "/", "~", "..", "n.d.", "circa", "'s",
    ]  # fmt: skip
    texts = ["".join(random.choices(words, k=60))[: edtf.MAX_CHARS] for _ in range(500)]
    texts += [(word * 120)[: edtf.MAX_CHARS] for word in words]
    for text in texts:
        assert seconds(date_words.to_edtf, text) < 0.5, text
    assert_linear(date_words.to_edtf, repeated("1906 or "), 400_000)
    assert_linear(edtf.is_valid, repeated("1906/"), 400_000)


def test_names_are_looked_at_in_no_time():
    pattern = naming.compile_pattern(settings.load({})["naming"]["pattern"])
    for piece in PIECES:
        name = (piece * 255)[:255]
        for look in (
            lambda text: naming.parse(text, pattern),
            lambda text: naming.nearest(text, pattern),
            naming.name_problem,
            checksums.kind_of,
            companions.folded,
        ):
            assert seconds(look, name) < 0.5
    assert_linear(lambda text: naming.parse(text, pattern), repeated("A-"), 400_000)
