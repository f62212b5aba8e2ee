"""120 odd and damaged files of public test suites, and which of them are masters.

Each file's manifest entry says what two libraries make of it with errors fatal; whether a file
that opens is a *master* is this project's policy, which stands below and in DEVELOPERS.md.
"""

import json
import shutil

import pytest
from PIL import Image

from glassine.base import settings
from glassine.base.helper_process import Apart
from glassine.masters import opening

CORPUS = settings.PROJECT.parent / "shared" / "corpus"
ROWS = (
    [json.loads(line) for line in (CORPUS / "corpus.jsonl").read_text("utf-8").splitlines()]
    if CORPUS.is_dir()
    else []
)

# What opens and is held all the same: class of the file -> codes that may tell so.
POLICY = {
    "jpg": {"not_tiff"},
    "png": {"not_tiff"},
    "webp": {"not_tiff"},
    "1bit": {"bits", "samples"},
    "2bit": {"bits"},
    "4bit": {"bits", "samples"},
    "32bit": {"bits"},
    "float": {"sample_format", "bits"},
    "signed": {"sample_format"},
    "palette": {"samples"},
    "cmyk": {"samples"},
    "miniswhite": {"samples"},
    "extra-samples/alpha": {"samples"},
    "multi-page": {"pages", "damaged"},
}
# What libraries open although it cannot be right.
CONTRADICTORY = {
    # Its directory tells four values of bits a sample for three samples: readers disagree on it.
    "3c1a3f9691-tiff_wrong_bits_per_sample_2.tiff": {"bits"},
    # A fuzzer's work: the count of one uncompressed strip reaches into the strip behind it.
    "05f59773fd-id=000026,sig=06,src=000012,op=havoc,rep=2": {"damaged"},
}
NOTED = {"8bit": "note_8bit", "jpeg": "note_lossy", "bigtiff": "note_bigtiff"}


def policy_codes(row):
    """Return the codes by which policy holds a file that opens; empty where it is a master."""
    found = set(CONTRADICTORY.get(row["file"], ()))
    for kind in row["classes"]:
        found |= POLICY.get(kind, set())
    return found


@pytest.fixture(scope="module")
def apart():
    with Apart("makers.judged:judge") as asker:
        yield asker


@pytest.fixture
def confined(tmp_path, apart):
    """Judge a file in a process with limits: a crash or a hang is told, not suffered."""

    def ask(row):
        path = tmp_path / "PEH-0001.tif"
        shutil.copy(CORPUS / row["file"], path)
        answered = apart.ask(str(path), seconds=60, memory_bytes=2 * 2**30)
        assert answered is not None, "it crashed, hung or filled the memory"
        return set(answered[0]), set(answered[1]), answered[2]

    return ask


@pytest.mark.skipif(not ROWS, reason=f"no corpus in {CORPUS}")
def test_the_corpus_is_whole():
    assert len(ROWS) == 120
    assert all((CORPUS / row["file"]).is_file() for row in ROWS)


@pytest.mark.parametrize("row", ROWS, ids=[f"{n:03}-{r['file']}" for n, r in enumerate(ROWS)])
def test_each_file_is_taken_or_held_as_said(row, confined):
    held, noted, size = confined(row)
    if row["expected"].startswith("reject"):
        assert held
        return
    allowed = policy_codes(row)
    if allowed:
        assert held
        assert held <= allowed
        return
    assert not held
    assert {NOTED[kind] for kind in row["classes"] if kind in NOTED} <= noted
    with Image.open(CORPUS / row["file"]) as other:  # an independent reader of the same file
        assert size == list(other.size)


@pytest.mark.skipif(not ROWS, reason=f"no corpus in {CORPUS}")
def test_how_many_follow_the_manifest_and_how_many_the_policy():
    by_policy = [row for row in ROWS if row["expected"].startswith("accept") and policy_codes(row)]
    assert (len(ROWS) - len(by_policy), len(by_policy)) == (77, 43)


def test_untrusted_loaders_are_blocked(tmp_path):
    """libvips' own list: what is not fuzzed is blocked (VIPS_OPERATION_UNTRUSTED)."""
    opening.prepare_vips()
    (tmp_path / "x.ppm").write_bytes(b"P6 1 1 255 abc")
    with pytest.raises(opening.pyvips.Error):
        opening.pyvips.Image.new_from_file(str(tmp_path / "x.ppm")).avg()
