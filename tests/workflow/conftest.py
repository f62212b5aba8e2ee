"""A studio of its own for each test."""

import pytest

from makers.studio import Studio


@pytest.fixture
def studio(tmp_path):
    return Studio(tmp_path)
