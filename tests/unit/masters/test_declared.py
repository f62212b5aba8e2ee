"""The declared size is read right from sound files and harmlessly from any others."""

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from glassine.masters import header_size


@pytest.mark.parametrize(
    "options", [{}, {"byteorder": ">"}, {"bigtiff": True}, {"bigtiff": True, "byteorder": ">"}]
)
def test_the_size_is_what_an_independent_writer_wrote(tmp_path, options):
    path = tmp_path / "m.tif"
    tifffile.imwrite(path, np.zeros((21, 34, 3), np.uint16), photometric="rgb", **options)
    assert header_size.size_px(path) == [34, 21]


@hypothesis_settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from([b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b""]), st.binary(max_size=300))
def test_any_bytes_give_a_size_or_none(tmp_path, head, body):
    path = tmp_path / "m.tif"
    path.write_bytes(head + body)
    found = header_size.size_px(path)
    assert found is None or (len(found) == 2 and min(found) > 0)


def test_a_missing_file_has_no_size(tmp_path):
    assert header_size.size_px(tmp_path / "absent.tif") is None
