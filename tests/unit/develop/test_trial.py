"""What the look at a camera's files says: levels, linearity, and that a file is refused."""

import struct
import subprocess
import sys

import numpy as np

from glassine.base.settings import PROJECT
from glassine.develop import trial
from glassine.masters import raws
from makers import raw_files


def run(*files):
    done = subprocess.run(
        [sys.executable, "-m", "glassine.develop.trial", *map(str, files)],
        env={"PYTHONPATH": str(PROJECT / "scripts")},
        capture_output=True,
        text=True,
        timeout=120,
    )
    return done.returncode, done.stdout + done.stderr


def test_levels_and_linearity_of_two_exposures_are_told(tmp_path):
    camera = raw_files.Camera()
    table = raw_files.table(200, 300)
    one = raw_files.write(tmp_path / "one.dng", table, camera, raw_files.Shot((1, 60)), seed=1)
    half = raw_files.write(tmp_path / "half.dng", table / 2, camera, raw_files.Shot((1, 120)), 2)
    odd = raw_files.write(tmp_path / "odd.dng", table / 2.2, camera, raw_files.Shot((1, 120)), 3)
    code, text = run(one, half)
    assert code == 0 and "black 512" in text and "white 16383" in text
    part = float(text.split("part from it by ")[1].split("%")[0])
    assert abs(part) < 0.5
    _, text = run(one, odd)
    assert float(text.split("part from it by ")[1].split("%")[0]) > 8  # 10 % less light than said


def test_what_headers_lack_and_a_full_sensor_are_told(tmp_path):
    camera = raw_files.Camera()
    samples = np.minimum(raw_files.exposed(raw_files.table(200, 300), camera), 10_000)
    content = raw_files.dng(samples.astype(np.uint16), camera)
    lens = struct.pack("<HH", 42036, 2)
    (tmp_path / "a.dng").write_bytes(content.replace(lens, struct.pack("<HH", 65000, 2)))
    raw = raws.read(tmp_path / "a.dng", 10**6)
    text = "\n".join(trial.told(raw))
    assert "not said: the lens" in text and "raw.unstated" in text
    assert "full at 10000" in text and "None" not in text


def test_a_file_that_cannot_be_developed_is_refused_with_words(tmp_path):
    (tmp_path / "a.nef").write_bytes(bytes(1000))
    code, text = run(tmp_path / "a.nef", tmp_path / "gone.nef")
    assert code == 1 and "masters.raw_unknown" in text and "gone.nef" in text
    assert "Traceback" not in text
