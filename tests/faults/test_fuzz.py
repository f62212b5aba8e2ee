"""Damaged masters by the dozen: each is taken or held, none crashes, hangs or fills the memory.

Two thousand by `tests/benchmarks/run faults-fuzz`.
"""

from random import Random

from faults.mutate import mutated
from glassine.base.helper_process import Apart
from makers import seed_masters


def asker():
    return Apart("makers.seed_masters:way_of_a_master")


def test_damaged_masters_are_taken_or_held(tmp_path):
    random = Random(3)
    sound = seed_masters.seeds(tmp_path)
    path = tmp_path / "PEH-0001.tif"
    told = set()
    with asker() as apart:
        for number in range(100):
            path.write_bytes(mutated(sound[number % len(sound)], random))
            answer = apart.ask(str(path), **seed_masters.LIMITS)
            assert answer is not None, f"file {number} was not handled"
            told.add(answer)
    assert "masters.damaged" in told
    assert "masters.truncated" in told


def test_sound_ones_are_taken(tmp_path):
    path = tmp_path / "PEH-0001.tif"
    with asker() as apart:
        for content in seed_masters.seeds(tmp_path)[:7]:
            path.write_bytes(content)
            assert apart.ask(str(path), **seed_masters.LIMITS) == "taken"
