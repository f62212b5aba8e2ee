"""A studio of its own for each test."""

import pytest

from studio import Studio


@pytest.fixture
def studio(tmp_path):
    return Studio(tmp_path)
