"""How much is done for an item and for a night in which nothing is due, counted and not timed.

Seconds depend on the machine, counts do not: a change that doubles one of them fails here. Where
one grows for a good reason, the number is changed with it; where it falls, too.
"""

import hashlib
import json
import os
import subprocess
import sys
import textwrap
from collections import Counter
from pathlib import Path

import cv2
import msgspec
import pytest

from faults import batches
from glassine import steps as table
from glassine.base import record_files
from glassine.base.errors import GlassineError
from glassine.intake import step as intake
from glassine.intake.given import IntakeGiven
from glassine.masters import kept, opening, pixels, unfold
from glassine.night import due, warm
from glassine.night.run import Run

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"
# A master whose size is told from the files beside it: records, profiles, code.
SIZE = (900, 660)
# What may differ for reasons that are nobody's: libraries' own reading, a frame's edge.
SLACK = 1.5


def _bytes_read() -> int:
    """Return the bytes that this process has read by system calls (proc(5), io)."""
    for line in Path("/proc/self/io").read_text("ascii").splitlines():
        if line.startswith("rchar:"):
            return int(line.split()[1])
    raise AssertionError("the system counts no bytes")


class _Counted:
    """A digest that counts what goes through it."""

    def __init__(self, digest, counts):
        self._digest, self._counts = digest, counts

    def update(self, piece):
        self._counts["hashed"] += memoryview(piece).nbytes
        self._digest.update(piece)

    def __getattr__(self, name):
        return getattr(self._digest, name)


def _count_digests(monkeypatch, counts):
    def counting(make):
        def made(*given, **named):
            counts["hashed"] += sum(len(each) for each in given if isinstance(each, bytes))
            return _Counted(make(*given, **named), counts)

        return made

    for name in ("new", "sha256", "sha512"):
        monkeypatch.setattr(hashlib, name, counting(getattr(hashlib, name)))


def _count_pixels(monkeypatch, counts):
    def counting(name, of_result):
        function = getattr(cv2, name)

        def done(*given, **named):
            result = function(*given, **named)
            counts[name] += (result if of_result else given[0]).size
            return result

        return done

    for name, of_result in (("warpAffine", True), ("resize", False)):
        monkeypatch.setattr(cv2, name, counting(name, of_result))
    encode = cv2.imencode

    def encoding(ending, picture, *rest):
        counts["encoded"] += picture.size
        return encode(ending, picture, *rest)

    monkeypatch.setattr(cv2, "imencode", encoding)


def _taken_in(folder: Path, **storage: object) -> tuple[Run, str, str]:
    masters = folder / "masters"
    (masters / "night").mkdir(parents=True)
    content = batches.draw(1, *SIZE)
    import tifffile

    path = masters / "night" / "PEH-0001.tif"
    storage |= {"resolution": (1500, 1500), "resolutionunit": 2}
    tifffile.imwrite(path, content, photometric="rgb", **storage)
    batches.write_lists(masters / "night", ["PEH-0001"])
    os.utime(path, (1e9, 1e9))
    run = Run({"masters": str(masters)}, folder)
    name = run.batches[0]
    taken = intake.take_in(
        masters / name, msgspec.convert(run.lookup.intake_given(name), IntakeGiven)
    )
    record_files.save(folder / "results" / name / "intake.json", "intake", taken)
    return run, name, run.lookup.batch(name).ready()[0]


def _do_steps(run, name, item, counts=None):
    """Do the steps of an item in this process; return what was counted of each."""
    item_dir = run.place.results_dir(name) / "items" / item
    item_dir.mkdir(parents=True, exist_ok=True)
    counted = {}
    for step in ("verify", "locate", "render", "embed", "record", "pack"):
        given = due.given(step, run.lookup.batch(name), item, run.place.config)
        values = table.given(step, given | {"masters_read": True})
        if counts is not None:
            counts.clear()
        before = _bytes_read()
        table.function(step)(run.place.batch_dir(name), item_dir, values)
        counted[step] = Counter(counts or {}, read=_bytes_read() - before)
    return counted


@pytest.fixture(scope="module")
def counted(tmp_path_factory):
    """What each step of an item reads, hashes, resamples and encodes, in samples and bytes."""
    folder = tmp_path_factory.mktemp("counted")
    run, name, item = _taken_in(folder)
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setenv("GLASSINE_THREADS", "1")
        _do_steps(run, name, item)  # libraries, tables and profiles are read once a process
        monkeypatch.setattr(pixels, "_REDUCED", kept.Kept(2**26))
        monkeypatch.setattr(pixels, "_DECODED", kept.Kept(2**26))
        counts: Counter[str] = Counter()
        _count_digests(monkeypatch, counts)
        _count_pixels(monkeypatch, counts)
        return _do_steps(run, name, item, counts)


MASTER = SIZE[0] * SIZE[1] * 6  # bytes; a sample has two of them
FRAME = (SIZE[0] - 180) * (SIZE[1] - 164) * 3  # samples, about


# As multiples of the master's bytes (read, hashed) and of the frame's samples (the rest). So small
# a master is read beside tables and profiles, and encoded at full size twice, as tiles and whole.
EXPECTED = {
    ("verify", "read", MASTER): 1.1,
    ("verify", "hashed", MASTER): 2.0,
    ("locate", "read", MASTER): 1.3,
    ("locate", "resize", FRAME): 21.5,
    ("locate", "warpAffine", FRAME): 3.2,
    # Its digest, and the rows under the frame; the reduced copy is locate's.
    ("render", "read", MASTER): 1.8,
    ("render", "hashed", MASTER): 1.05,
    ("render", "warpAffine", FRAME): 1.0,
    ("render", "resize", FRAME): 5.5,
    ("render", "encoded", FRAME): 3.6,
    ("record", "hashed", MASTER): 0.08,
    ("pack", "hashed", MASTER): 0.25,
    ("pack", "read", MASTER): 0.17,
}


@pytest.mark.parametrize(("step", "what", "unit"), EXPECTED)
def test_a_step_does_no_more_than_it_needs(counted, step, what, unit):
    share = counted[step][what] / unit
    expected = EXPECTED[step, what, unit]
    assert expected / SLACK <= share <= expected * SLACK, f"{share:.2f}, expected {expected}"


def test_a_compressed_master_is_unfolded_once_by_the_steps_of_an_item(tmp_path, monkeypatch):
    """Its proof unfolds it; what follows in the same process decodes nothing again."""
    counts: Counter[str] = Counter()
    monkeypatch.setattr(pixels, "_DECODED", kept.Kept(2**26))
    inflater = unfold.zlib.decompressobj

    def inflating():
        counts["inflated"] += 1
        return inflater()

    def decoding(*given):
        counts["decoded"] += 1
        return decode(*given)

    decode = pixels._decoded
    monkeypatch.setattr(unfold.zlib, "decompressobj", inflating)
    monkeypatch.setattr(pixels, "_decoded", decoding)
    run, name, item = _taken_in(tmp_path, compression="zlib", rowsperstrip=66)
    item_dir = run.place.results_dir(name) / "items" / item
    item_dir.mkdir(parents=True)
    given = due.given("verify", run.lookup.batch(name), item, run.place.config)
    table.function("verify")(run.place.batch_dir(name), item_dir, table.given("verify", given))
    path = run.place.batch_dir(name) / "PEH-0001.tif"
    for _ in ("locate", "look", "render"):
        with pixels.opened(path, opening.read_header(path)) as source:
            assert source.reduced.any()
    assert counts == {"inflated": 10}


FORKS = """
    import os, sys
    from pathlib import Path
    from glassine import steps as table
    from glassine.night import item_job
    fork, folder = os.fork, Path(sys.argv[1])

    def counted():
        with (folder / "forks").open("a") as told:
            told.write("1")
        return fork()

    os.fork = counted
    table.function = lambda name: lambda *given: None
    table.given = lambda name, values: values
    item_dir = folder / "results/b1/items/PEH-1"
    steps = [{"step": step.name, "item": "PEH-1", "masters": []} for step in table.STEPS]
    getattr(item_job, sys.argv[2])(folder, item_dir, steps, "key", None)
"""


@pytest.mark.parametrize(("job", "forks"), [("process_item", 1), ("look_at_item", 2)])
def test_a_job_forks_as_often_as_it_needs(tmp_path, job, forks):
    subprocess.run(
        [sys.executable, "-c", textwrap.dedent(FORKS), str(tmp_path), job],
        env={**os.environ, "PYTHONPATH": str(SCRIPTS)},
        capture_output=True,
    )
    assert len((tmp_path / "forks").read_text()) == forks


LOADED = """
    import json, os, sys
    from glassine.night import warm
    warm._load()
    from glassine.base import premis_event
    from glassine.locate import learned
    from glassine.locate import step as locate
    from glassine.pack import layouts
    from glassine.record import rules
    from glassine.render.quality import limits
    kept = (learned._network, locate._shown_codes, layouts.all_layouts, rules._relax_ng)
    print(json.dumps({
        "threads": len(os.listdir("/proc/self/task")),
        "missing": [each.__name__ for each in (*kept, limits._table) if not each.cache_info().currsize],
        "software": premis_event.software.cache_info().currsize,
        "modules": [name for name in sys.modules if name.startswith("glassine.record.")],
    }))
"""


def test_the_warm_process_has_done_what_every_item_would_do():
    """What is loaded and read once a night, and is not read again in each of its forks."""
    text = textwrap.dedent(LOADED)
    out = subprocess.run(
        [sys.executable, "-c", text],
        env={**os.environ, **warm.ONE_THREAD, "PYTHONPATH": str(SCRIPTS)},
        capture_output=True,
        check=True,
    ).stdout
    loaded = json.loads(out)
    assert loaded["threads"] == 1
    assert loaded["missing"] == []
    # verify; locate; render; embed; record: each names its own packages.
    assert loaded["software"] == 5
    needed = {"check", "history", "item_records", "mets", "official", "presentation", "on_disk"}
    assert {f"glassine.record.{name}" for name in needed} <= {*loaded["modules"]}


def test_what_cannot_be_prepared_is_left_to_the_items_that_need_it(monkeypatch):
    from glassine.render import step as render
    from glassine.render.quality import limits

    monkeypatch.setattr(limits, "LIMITS_PATH", Path("/nowhere/limits.yaml"))
    with pytest.raises(GlassineError):
        render.prepare()
    table.prepare("render")


def _loaded(text: str) -> list[str]:
    out = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(text) + "\nprint(json.dumps(sorted(sys.modules)))"],
        env={**os.environ, "PYTHONPATH": str(SCRIPTS)},
        capture_output=True,
        check=True,
    ).stdout
    return json.loads(out)


def test_a_night_in_which_nothing_is_due_loads_no_library_of_pixels_keys_mail_and_pages():
    loaded = _loaded(
        """
        import json, sys
        from glassine.night import checks
        from glassine.night import run
        # What its end loads (glassine.night.ending).
        from glassine.night import audits, notify, progress, reconciled, restricted
        from glassine.handover import step
        """
    )
    roots = {name.partition(".")[0] for name in loaded}
    assert not roots & {"cv2", "numpy", "pyvips", "tifffile", "zxingcpp"}
    assert not roots & {"cryptography", "jinja2", "smtplib"}
    # 162 of ours in all, 123 of them before it is known whether anything is due; the report, which
    # such a night does not write, would bring another 40.
    assert len([name for name in loaded if name.startswith("glassine.")]) < 180
