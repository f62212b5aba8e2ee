"""Bags made by several processes are those that one makes, byte for byte."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from glassine.base import threads, workers
from glassine.base.errors import GlassineError
from glassine.base.settings import PROJECT
from glassine.deliver import bag
from makers import deliveries, redelivered
from makers.step_calls import do_delivery


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def in_processes(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    monkeypatch.setattr(threads, "allowed", lambda: count)
    monkeypatch.setattr(workers, "_FEW", 0)
    monkeypatch.setattr(workers, "_FEW_BYTES", 0)
    monkeypatch.setattr(workers, "_PIECE", 3)


def made(root: Path) -> dict[str, bytes]:
    folder = root / "deliveries"
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def batch(root: Path, **section: Any) -> dict[str, Any]:
    root.mkdir()
    return redelivered.make_batch(root, 3, **section)


@pytest.mark.parametrize(
    "section",
    [{}, {"form": "tar", "max_bag_gb": 1e-6}, {"form": "zip", "max_bag_gb": 1e-6}],
    ids=["folder", "tar", "zip"],
)
def test_the_number_of_processes_changes_no_byte(
    section: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    do_delivery(tmp_path / "one", batch(tmp_path / "one", **section))
    in_processes(monkeypatch, 2)
    do_delivery(tmp_path / "two", batch(tmp_path / "two", **section))
    assert made(tmp_path / "two") == made(tmp_path / "one")


def test_every_file_that_is_not_as_packed_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = batch(tmp_path / "b")
    for item in ("PEH-0001", "PEH-0003"):
        path = tmp_path / "b/masters/b1" / f"{item}.tif"
        path.write_bytes(path.read_bytes()[:-1])
    in_processes(monkeypatch, 2)
    with pytest.raises(GlassineError) as caught:
        do_delivery(tmp_path / "b", given)
    assert sorted(Path(finding.path).name for finding in caught.value.findings) == [
        "PEH-0001.tif",
        "PEH-0003.tif",
    ]


def test_a_damaged_bag_is_read_by_all_processes_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    do_delivery(tmp_path / "b", batch(tmp_path / "b"))
    path = tmp_path / "b/deliveries/b1/data/PEH-0002/manifest.json"
    path.write_bytes(path.read_bytes() + b" ")
    alone = bag.validate(tmp_path / "b/deliveries/b1")
    in_processes(monkeypatch, 2)
    assert bag.validate(tmp_path / "b/deliveries/b1") == alone
    assert {finding.code for finding in alone} == {"bag.payload_changed", "bag.oxum"}


KILLED = """
import json, os, signal, sys
from pathlib import Path
from glassine.base import threads, workers
from glassine.deliver import serialization
from makers.step_calls import do_delivery
threads.allowed = lambda: 2
workers._FEW = workers._FEW_BYTES = 0
workers._PIECE = 3
real = serialization._FolderCarrier.bring
def struck(self, source, target):
    if source.path.endswith("PEH-0002/METS.xml"):
        os.kill(int(sys.argv[3]) or os.getpid(), signal.SIGKILL)
    return real(self, source, target)
if sys.argv[3] == "0":
    serialization._FolderCarrier.bring = struck
else:
    sys.argv[3] = str(os.getpid())
    serialization._FolderCarrier.bring = struck
do_delivery(Path(sys.argv[1]), json.loads(sys.argv[2]))
"""


@pytest.mark.parametrize("whom", ["worker", "step"])
def test_whatever_is_killed_the_next_run_is_whole(
    whom: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = batch(tmp_path / "b")
    places = os.pathsep.join([str(PROJECT / "scripts"), str(PROJECT / "tests")])
    run = subprocess.run(
        [
            sys.executable,
            "-c",
            KILLED,
            str(tmp_path / "b"),
            json.dumps(given),
            "0" if whom == "worker" else "1",
        ],
        env={**os.environ, "PYTHONPATH": places},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == (1 if whom == "worker" else -signal.SIGKILL)
    assert ("run.worker_ended" in run.stderr) == (whom == "worker")
    assert not (tmp_path / "b/deliveries/b1").exists()
    in_processes(monkeypatch, 2)
    assert do_delivery(tmp_path / "b", given).delivery == "b1"
    assert bag.validate(tmp_path / "b/deliveries/b1") == []
    assert not list((tmp_path / "b/deliveries").rglob(".part-*"))
