"""A job works with the threads that the engine counts for it, and their number changes no byte."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import threading
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import hashing, settings, threads
from glassine.masters import fixity, layout, unfold
from glassine.night import item_job, warm

PROJECT = settings.PROJECT
CORES = len(os.sched_getaffinity(0))
RULES = {
    name: body
    for path in (PROJECT / "rules").glob("*.smk")
    for name, body in re.findall(
        r"^(?:rule|checkpoint) (\w+):\n((?:(?:    .*)?\n)+)", path.read_text("utf-8"), re.MULTILINE
    )
}


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> Iterator[set[threading.Thread]]:
    """The threads in which digests are worked out and strips are unfolded."""
    found: set[threading.Thread] = set()

    def marked(real: Any) -> Any:
        def call(*args: Any, **kwargs: Any) -> Any:
            found.add(threading.current_thread())
            return real(*args, **kwargs)

        return call

    class Digest:
        def __init__(self, name: str) -> None:
            self.real = getattr(hashlib, name)()
            self.hexdigest = self.real.hexdigest
            self.update = marked(self.real.update)

    class Module:
        new = staticmethod(lambda name, usedforsecurity: Digest(name))
        sha256 = staticmethod(lambda: Digest("sha256"))
        sha512 = staticmethod(lambda: Digest("sha512"))

    monkeypatch.setattr(fixity, "hashlib", Module)
    monkeypatch.setattr(hashing, "hashlib", Module)
    monkeypatch.setattr(unfold, "_deflate_problem", marked(unfold._deflate_problem))
    hashing._helper.cache_clear()
    yield found
    hashing._helper.cache_clear()


def _both(path: Path) -> tuple[dict[str, str], hashing.Digests]:
    found, _ = fixity.digests(path, ("sha256", "sha512", "md5"))
    return found, hashing.of_file(path)


@pytest.mark.parametrize("count", [1, 2])
def test_digests_take_the_threads_that_are_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seen: set[threading.Thread], count: int
) -> None:
    monkeypatch.setenv(threads.THREADS, str(count))
    path = tmp_path / "a"
    path.write_bytes(content := os.urandom(9 * 2**20))
    found, both = _both(path)
    expected = {name: hashlib.new(name, content).hexdigest() for name in found}
    assert found == expected
    assert (both.sha256, both.sha512) == (expected["sha256"], expected["sha512"])
    here = threading.current_thread()
    assert here in seen
    # One helper for each of the two ways in which digests are made, never at the same time.
    assert len(seen - {here}) == (0 if min(count, CORES) == 1 else 2)


def test_one_thread_unfolds_in_the_job_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seen: set[threading.Thread]
) -> None:
    monkeypatch.setenv(threads.THREADS, "1")
    path = tmp_path / "a.tif"
    pixels = np.zeros((64, 64, 3), np.uint16)
    tifffile.imwrite(path, pixels, compression="zlib", rowsperstrip=8, photometric="rgb")
    with path.open("rb") as stream:
        unfold.prove(stream.fileno(), layout.read(stream, path.stat().st_size))
    assert seen == {threading.current_thread()}


def test_no_more_threads_than_cores_and_at_least_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(threads.THREADS, "1")  # and as it was, at the end
    for stated, allowed in ((1, 1), (1000, CORES), (0, 1)):
        threads.announce(stated)
        assert threads.allowed() == allowed
    monkeypatch.delenv(threads.THREADS)
    assert threads.allowed() == min(2, CORES)


def test_an_error_in_the_jobs_own_thread_comes_with_the_result(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(threads.THREADS, "1")
    with threads.pool() as pool:
        under_way = pool.submit(zlib.decompress, b"no")
        with pytest.raises(zlib.error):
            under_way.result()
        with pytest.raises(zlib.error):
            list(pool.map(zlib.decompress, [b"no"]))


_AVIF = """
import hashlib, sys
sys.path.insert(0, sys.argv[1])
import numpy as np
from glassine.render import encoded
y, x = np.mgrid[0:300, 0:500]
picture = np.stack([x * y % 255, (x + y) % 255, 99 * np.sin(x / 7) + 100], -1).astype(np.uint8)
for kind in ("avif", "webp"):
    print(hashlib.sha256(encoded.alternate(picture, kind, 60, icc=None)).hexdigest())
"""


def test_encoders_give_the_same_bytes_on_machines_of_any_number_of_cores() -> None:
    def made(cores: int) -> str:
        # What libvips takes for the number of cores.
        environment = {**os.environ, "VIPS_CONCURRENCY": str(cores)}
        command = [sys.executable, "-c", _AVIF, str(PROJECT / "scripts")]
        return subprocess.run(
            command, env=environment, check=True, capture_output=True, text=True
        ).stdout

    assert made(1) == made(2) == made(16)


def test_jobs_that_use_pixels_or_digests_say_how_many_threads_are_theirs() -> None:
    for name in ("look", "item", "intake", "targets", "deliver", "report", "reproduce"):
        (script,) = re.findall(r'"\.\./(scripts/\w+\.py)"', RULES[name])
        text = (PROJECT / script).read_text("utf-8")
        announced = text.count("threads.announce(snakemake.threads)\n")
        # The warm process announces what it is handed, in the fork that does the work.
        announced += text.count("warm.do(") and text.count("    threads=snakemake.threads,\n")
        assert announced == 1, script


def test_the_warm_process_announces_the_threads_of_each_job(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    announced: list[int] = []
    monkeypatch.setattr(threads, "announce", announced.append)
    monkeypatch.setattr(item_job, "process_item", lambda *_: announced.append(0))
    warm._work("item", ("batch", "item", [], "key", 100), 3)
    assert announced == [3, 0]


def test_the_engine_counts_threads_where_they_are_used_and_the_queue_follows_it() -> None:
    counted = {
        name: found[1]
        for name, body in RULES.items()
        if (found := re.search(r"^    threads: (.+)$", body, re.MULTILINE))
    }
    delivers = "min(8, workflow.resource_settings.cores or 2)"
    assert counted == {"look": "1", "item": "1", "deliver": delivers}
    profile = yaml.safe_load((PROJECT / "config/slurm/config.yaml").read_text("utf-8"))
    stated = [profile["default-resources"], *profile["set-resources"].values()]
    assert not [each for each in stated if "cpus_per_task" in each]
