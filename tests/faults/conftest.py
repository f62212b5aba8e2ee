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
    yield from _untouched(studio, 2)


@pytest.fixture
def four(studio):
    """The same of four items."""
    yield from _untouched(studio, 4)


def _untouched(studio, items):
    batches.make_batch(studio.masters, items)
    before = studio.masters_state()
    yield studio
    assert studio.masters_state() == before
