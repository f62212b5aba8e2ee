"""The chain of an item's steps: where it starts, and what it forgets when a step fails."""

import json
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from glassine import steps
from glassine.night import due

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"
NAMES = [step.name for step in steps.STEPS]


def given(**changes):
    return [
        {"step": name, "item": "PEH-1", "masters": [], "setting": changes.get(name, "as before")}
        for name in NAMES
    ]


# Stand-ins for the steps: each writes its records and a line that tells that it ran.
RUN = """
    import sys
    sys.path.insert(0, {scripts!r})
    from pathlib import Path
    from glassine import steps as table
    from glassine.base.errors import GlassineError
    from glassine.night import item_job
    item_dir = Path({folder!r})

    def stand_in(name):
        def work(batch_dir, item_dir, given):
            if given["setting"] == "fail":
                raise GlassineError.because(name + ".bad", "a.tif", "Bad.", "good.", "Mend.")
            if given["setting"] == "crash":
                import os, signal
                os.kill(os.getpid(), signal.SIGSEGV)
            for record in table.step(name).records:
                (item_dir / record).parent.mkdir(exist_ok=True, parents=True)
                (item_dir / record).write_text("{{}}")
            with (item_dir / "ran").open("a") as told:
                told.write(name + " ")
        return work

    table.function = stand_in
    table.given = lambda name, values: values
    item_job.process_item(item_dir, item_dir, {steps!r}, "key", None)
"""


@pytest.fixture
def item_dir(tmp_path):
    return tmp_path / "results" / "b1" / "items" / "PEH-1"


def process(item_dir, steps):
    """Run the chain as its job does; return (exit code, names of the steps that ran)."""
    text = textwrap.dedent(RUN.format(scripts=str(SCRIPTS), folder=str(item_dir), steps=steps))
    (item_dir / "ran").unlink(missing_ok=True)
    done = subprocess.run([sys.executable, "-c", text], env=os.environ, timeout=60)
    told = item_dir / "ran"
    return done.returncode, told.read_text().split() if told.exists() else []


def test_a_new_item_takes_every_step_and_is_stamped(item_dir):
    assert process(item_dir, given()) == (0, NAMES)
    assert due.is_settled(item_dir, "key")


def test_a_finished_item_takes_none(item_dir):
    process(item_dir, given())
    assert process(item_dir, given()) == (0, [])


def test_a_process_killed_after_its_last_step_holds_nothing_for_good(item_dir):
    process(item_dir, given())
    (item_dir / "held.json").write_text('{"item": "PEH-1", "step": "pack", "findings": []}')
    assert not due.is_settled(item_dir, "key")
    assert process(item_dir, given()) == (0, [])
    assert not (item_dir / "held.json").exists()
    assert due.is_settled(item_dir, "key")


@pytest.mark.parametrize("name", NAMES)
def test_what_changes_is_done_again_with_what_follows(item_dir, name):
    process(item_dir, given())
    assert process(item_dir, given(**{name: "changed"})) == (0, NAMES[NAMES.index(name) :])


def test_a_missing_record_is_made_again(item_dir):
    process(item_dir, given())
    (item_dir / "embedded.json").unlink()
    assert process(item_dir, given()) == (0, ["embed", "record", "pack"])


def test_a_failing_step_leaves_what_was_done_and_is_tried_again(item_dir):
    assert process(item_dir, given(render="fail")) == (1, NAMES[: NAMES.index("render")])
    held = json.loads((item_dir / "held.json").read_text())
    assert (held["step"], held["findings"][0]["code"]) == ("render", "render.bad")
    assert not (item_dir / "done.json").exists()
    assert process(item_dir, given()) == (0, ["render", "embed", "record", "pack"])
    assert not (item_dir / "held.json").exists()


def test_a_crash_is_told_of_the_step_it_happened_in(item_dir):
    code, ran = process(item_dir, given(locate="crash"))
    assert (code, ran) == (1, NAMES[: NAMES.index("locate")])
    held = json.loads((item_dir / "held.json").read_text())
    assert held["step"] == "locate"
    assert "SIGSEGV" in held["findings"][0]["what"]


def test_a_damaged_account_of_steps_means_from_the_start(item_dir):
    process(item_dir, given())
    (item_dir / due.STEPS_DONE).write_text("{")
    assert process(item_dir, given()) == (0, NAMES)
