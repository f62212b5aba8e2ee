"""A studio of its own for each test, and a check that no master of any of them was touched."""

import pytest

from faults import batches
from makers.studio import Studio


@pytest.fixture
def studio(tmp_path):
    return Studio(tmp_path)


@pytest.fixture
def pair(studio):
    """A studio with a batch of two sound items whose masters stay as they are."""
    batches.make_batch(studio.masters, 2)
    before = studio.masters_state()
    yield studio
    assert studio.masters_state() == before
