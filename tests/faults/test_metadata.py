"""Bombs and tricks in catalogues, batch.yaml, corrections and records: refused, in little time
and memory, with file and reason. Each is read in a process with limits."""

import json
import re
from pathlib import Path

import pytest

from faults import batches
from glassine.base import files, sandbox, settings
from glassine.base.errors import GlassineError
from makers.step_calls import taken_in

LAUGHS = "".join(
    f'<!ENTITY l{n} "{"&l" + str(n - 1) + ";" if n else "ha"}{("&l" + str(n - 1) + ";") * 9}">'
    for n in range(12)
).replace("&l-1;", "ha")
XML = {
    "billion laughs": f"<!DOCTYPE mods [{LAUGHS}]><mods>&l11;</mods>",
    "external entity": '<!DOCTYPE m [<!ENTITY x SYSTEM "file:///etc/passwd">]><m>&x;</m>',
    "external dtd": '<!DOCTYPE m SYSTEM "http://dtd.example/m.dtd"><m/>',
    "parameter entity": '<!DOCTYPE m [<!ENTITY % p SYSTEM "file:///etc/passwd">%p;]><m/>',
    "deep nesting": "<a>" * 200_000 + "</a>" * 200_000,
    "unclosed": "<modsCollection><mods>",
}
YAML = {
    "object tag": 'title: !!python/object/apply:os.system ["touch PWNED"]',
    "unknown tag": "title: !anything x",
    "key twice": "title: a\ntitle: b",
    "billion laughs": "a: &a [x, x]\n" + "".join(f"b{n}: &b{n} [*a, *a]\n" for n in range(30)),
    "deep nesting": "title: " + "[" * 5000 + "]" * 5000,
    "deep mappings": "\n".join(" " * n + "a:" for n in range(2000)),
    "not utf-8": b"title: caf\xe9",
    "a number": "7",
    "unknown key": "shell: rm",
    "too large": "# " + "x" * (5 * 2**20),
}
CORRECTIONS = {
    "path out": "corrections: [{item: PEH-0001, by: op-1, when: '2026-03-18T08:55:00Z', "
    "frames: [{master: ../../etc/passwd, frame: 1, rotate: 90}]}]",
    "id out": "corrections: [{item: ../../x, by: op-1, when: '2026-03-18T08:55:00Z', frames: []}]",
    "not a number": "corrections: [{item: PEH-0001, by: op-1, when: '2026-03-18T08:55:00Z', "
    "frames: [{frame: 1, corners: [[.nan, 0], [1, 0], [1, 1], [0, 1]]}]}]",
    "twenty thousand frames": "corrections: [{item: PEH-0001, by: op-1, when: '2026-03-18T08:55:00Z', "
    "frames: [" + ",".join(f"{{frame: {n}, rotate: 90}}" for n in range(20_000)) + "]}]",
    "object tag": 'corrections: !!python/object/apply:os.system ["touch PWNED"]',
}


def own_bytes():
    """Return the private memory of this process (VmData of proc(5)), which a child has from it:
    what earlier tests have left is no part of what the question may take."""
    status = Path("/proc/self/status").read_text("ascii", "replace")
    return int(re.search(r"VmData:\s+(\d+)", status)[1]) * 1024


@pytest.fixture
def taken(tmp_path):
    """Take a batch of one item in, with one file replaced; return its findings' codes."""
    folder = tmp_path / "b1"
    batches.write_master(folder / "PEH-0001.tif", 1)
    batches.write_lists(folder, ["PEH-0001"])

    def take(name, content, **changes):
        if name.startswith("catalogue"):
            (folder / "catalogue.csv").unlink()
        data = content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass")
        (folder / name).write_bytes(data)
        config = settings.load({"intake": {"watch_s": 0}, **changes})

        def question():
            try:
                result = taken_in(folder, {"batch": "b1", "settings": config})
            except GlassineError as error:
                return [[each.code, each.path, each.what] for each in error.findings]
            entry = next(each for each in result["items"] if each["item"] == "PEH-0001")
            told = [*entry["findings"], *result["notes"]]
            rows = [["without_master", row, row] for row in result["rows"]["without_master"]]
            return [[each["code"], each["path"], each["what"]] for each in told] + rows

        allowed = own_bytes() + 1500 * 2**20
        found = sandbox.answer(question, seconds=60, memory_bytes=allowed)
        assert found is not None, "it took too long, too much memory, or an error not its own"
        assert not list(tmp_path.rglob("PWNED"))
        return found

    return take


@pytest.mark.parametrize("name", XML)
def test_xml_tricks_are_refused_by_name(taken, name):
    found = taken("catalogue.xml", XML[name])
    assert found
    assert all("catalogue.xml" in path for _, path, _ in found), found
    assert "root:" not in json.dumps(found)


@pytest.mark.parametrize("name", YAML)
def test_yaml_tricks_are_refused_by_name(taken, name):
    found = taken("batch.yaml", YAML[name])
    assert found
    assert all("batch.yaml" in path for _, path, _ in found), found


@pytest.mark.parametrize("name", CORRECTIONS)
def test_hostile_corrections_are_refused_by_name(taken, name):
    found = taken("corrections.yaml", CORRECTIONS[name])
    assert found
    assert any("corrections" in path or "corrections" in code for code, path, _ in found), found


def test_a_csv_of_a_million_columns_is_refused(taken):
    header = "item_id,title," + ",".join(f"c{n}" for n in range(1_000_000))
    found = taken("catalogue.csv", f"{header}\nPEH-0001,Quay\n")
    assert found
    assert all("catalogue.csv" in path for _, path, _ in found), found


def test_a_csv_cell_of_fifty_megabytes_is_refused(taken):
    found = taken("catalogue.csv", "item_id,title\nPEH-0001," + "x" * (50 * 2**20) + "\n")
    assert any(code.startswith("catalogue.") for code, _, _ in found)


@pytest.mark.parametrize("text", ["a\x00b", "a\x0bb", "a\x1bb", "a\ufffeb"])
def test_characters_that_no_record_can_carry_hold_the_item(taken, text):
    found = taken("catalogue.csv", f"item_id,title,date\nPEH-0001,{text},1906\n")
    assert any(code.startswith("catalogue.") for code, _, _ in found), found


@pytest.mark.parametrize("item", ["../../etc/x", "/etc/x", "a/../b", ".", "..", "C:x", "a\\b"])
def test_an_id_that_could_leave_its_folder_becomes_no_item(taken, item):
    found = taken("catalogue.csv", f"item_id,title,date\nPEH-0001,Quay,1906\n{item},out,\n")
    assert any(item in what + path or repr(item) in what for _, path, what in found), found


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000 + "]" * 100_000,
        '{"a":' * 50_000 + "1" + "}" * 50_000,
        '{"a": 1, "a": 2}',
        '{"a": NaN}',
        '{"a": 1e999, "b": Infinity}',
        '{"a": "\\ud800',
    ],
)
def test_json_tricks_are_refused_by_name(tmp_path, text):
    path = tmp_path / "fixity.json"
    path.write_text(text)

    def question():
        try:
            files.read_json(path)
        except GlassineError as error:
            return error.findings[0].path
        return "read"

    assert sandbox.answer(question, seconds=20, memory_bytes=2**30) == str(path)


def test_checksum_lists_of_any_kind_are_read_or_told(taken):
    assert taken("manifest-sha256.txt", b"\xff\xfe\x00rubbish\n" * 3)
    assert any(
        code == "intake.manifest_line" and "line 2" in path
        for code, path, _ in taken("manifest-sha256.txt", "\n" + "z" * 64 + "  PEH-0001.tif\n")
    )
    told = taken("manifest-sha256.txt", f"{'0' * 64}  ../../../etc/passwd\n")
    assert not any("root:" in what for _, _, what in told)
