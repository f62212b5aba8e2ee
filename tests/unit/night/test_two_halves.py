"""An item whose negatives may share a film takes two jobs; who is held fails none but the second."""

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
HALF = [step.name for step in steps.first_half()]
REST = NAMES[len(HALF) :]

# Stand-ins for the steps: each writes its records and a line that tells that it ran.
RUN = """
    import os, signal, sys
    sys.path.insert(0, {scripts!r})
    from pathlib import Path
    from glassine import steps as table
    from glassine.base.errors import GlassineError
    from glassine.films import record as films
    from glassine.night import item_job
    item_dir = Path({folder!r})

    def stand_in(name):
        def work(batch_dir, item_dir, given):
            with (item_dir / "ran").open("a") as told:
                told.write(name + " ")
            if given["setting"] == "fail":
                raise GlassineError.because(name + ".bad", "a.tif", "Bad.", "good.", "Mend.")
            if given["setting"] == "crash":
                os.kill(os.getpid(), signal.SIGSEGV)
            if given["setting"] == "kill the job":
                os.kill(os.getpgid(0), signal.SIGKILL)
                signal.pause()  # a step takes longer than its own end, which follows the job's
            for record in table.step(name).records:
                (item_dir / record).parent.mkdir(exist_ok=True, parents=True)
                (item_dir / record).write_text("{{}}")
        return work

    table.function = stand_in
    table.given = lambda name, values: values
    films.is_whole = lambda path: path.exists() and path.read_text() == "{{}}"
    films.shows_any = lambda path: {shared}
    item_job.{job}(item_dir, item_dir, {steps!r}, "key", None)
"""


@pytest.fixture
def item_dir(tmp_path):
    return tmp_path / "results" / "b1" / "items" / "PEH-1"


def given(**changes):
    made = [
        {"step": name, "item": "PEH-1", "masters": [], "setting": changes.get(name, "as before")}
        for name in NAMES
    ]
    made[NAMES.index("look")]["pools"] = True
    return made


def run(item_dir, job, values, shared=True):
    """Run a job of the item; return (exit code, names of the steps that began)."""
    named = {"scripts": str(SCRIPTS), "folder": str(item_dir), "job": job}
    text = textwrap.dedent(RUN.format(steps=values, shared=shared, **named))
    (item_dir / "ran").unlink(missing_ok=True)
    done = subprocess.run([sys.executable, "-c", text], env=os.environ, timeout=60)
    told = item_dir / "ran"
    return done.returncode, told.read_text().split() if told.exists() else []


def looked(item_dir):
    return json.loads((item_dir / due.LOOKED).read_text())["state"]


def test_the_first_job_ends_with_the_look_and_the_second_goes_on(item_dir):
    assert run(item_dir, "look_at_item", given()) == (0, HALF)
    assert looked(item_dir) == "looked"
    assert not (item_dir / due.STAMP).exists()
    assert run(item_dir, "process_item", given()) == (0, REST)
    assert due.is_settled(item_dir, "key")


def test_an_item_without_such_frames_goes_through_in_its_first_job(item_dir):
    assert run(item_dir, "look_at_item", given(), shared=False) == (0, NAMES)
    assert looked(item_dir) == "done"
    assert due.is_settled(item_dir, "key")


@pytest.mark.parametrize("how", ["fail", "crash"])
@pytest.mark.parametrize("name", HALF)
def test_a_held_item_fails_its_second_job_alone_and_is_not_tried_twice(item_dir, name, how):
    begun = HALF[: HALF.index(name) + 1]
    assert run(item_dir, "look_at_item", given(**{name: how})) == (0, begun)
    assert looked(item_dir) == "held"
    held = json.loads((item_dir / "held.json").read_text())
    assert held["step"] == name
    assert run(item_dir, "process_item", given(**{name: how})) == (1, [])
    assert json.loads((item_dir / "held.json").read_text()) == held
    # The run of the next night takes the stamp away, and all is tried again.
    (item_dir / due.LOOKED).unlink()
    assert run(item_dir, "look_at_item", given()) == (0, HALF[HALF.index(name) :])
    assert not (item_dir / "held.json").exists()
    assert run(item_dir, "process_item", given()) == (0, REST)


def test_an_item_held_after_its_look_is_held_as_ever(item_dir):
    assert run(item_dir, "look_at_item", given())[0] == 0
    assert run(item_dir, "process_item", given(render="fail")) == (1, ["render"])
    assert run(item_dir, "look_at_item", given()) == (0, [])
    assert run(item_dir, "process_item", given()) == (0, REST)


def test_one_without_such_frames_that_is_held_later_fails_its_second_job(item_dir):
    code, ran = run(item_dir, "look_at_item", given(render="fail"), shared=False)
    assert (code, ran[-1], looked(item_dir)) == (0, "render", "held")
    assert run(item_dir, "process_item", given(render="fail")) == (1, [])


def test_a_held_stamp_of_before_does_not_hold_an_item_that_shares_no_film_now(item_dir):
    run(item_dir, "look_at_item", given(locate="fail"))
    values = given()
    del values[NAMES.index("look")]["pools"]
    assert run(item_dir, "process_item", values)[0] == 0


def test_a_damaged_look_is_made_again(item_dir):
    run(item_dir, "look_at_item", given())
    (item_dir / "looks.json").write_text("{")
    assert run(item_dir, "look_at_item", given()) == (0, ["look"])


def test_a_job_that_is_killed_is_a_failure(item_dir):
    """Nothing is known of it: the films do wait for it, and the engine tries once more."""
    values = given(locate="kill the job")
    text = textwrap.dedent(
        RUN.format(
            scripts=str(SCRIPTS),
            folder=str(item_dir),
            job="look_at_item",
            steps=values,
            shared=True,
        )
    )
    done = subprocess.run([sys.executable, "-c", text], start_new_session=True, timeout=60)
    assert done.returncode != 0
    assert not (item_dir / due.LOOKED).exists()
