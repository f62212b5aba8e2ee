"""Over the whole suite: no sample master changes, by digest, time and mode."""

import hashlib

import pytest

from glassine import settings

MASTERS = settings.PROJECT / "sample_masters"


def state():
    return {
        path: (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns)
        for path in sorted(MASTERS.rglob("*.tif"))
    }


@pytest.fixture(scope="session", autouse=True)
def masters_stay_as_they_are():
    before = state()
    yield
    assert state() == before, "a test changed a sample master"
