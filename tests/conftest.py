"""Over the whole suite: no sample master changes, by digest, time and mode."""

import hashlib

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from glassine.base import settings

# How long an example takes is the machine's business: on a loaded one none is a failure for it.
hypothesis_settings.register_profile(
    "suite", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
hypothesis_settings.load_profile("suite")

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
