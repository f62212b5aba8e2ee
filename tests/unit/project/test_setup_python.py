"""An interpreter that is too old is refused in plain words, with the code of an environment that
cannot be made: 1 would say that the night ran and something is held."""

import sys

import pytest

from glassine.base import exits, settings

sys.path.insert(0, str(settings.PROJECT / "scripts"))
import setup_environment


def test_a_python_that_is_too_old_is_told(monkeypatch, capsys):
    monkeypatch.setattr(setup_environment, "MINIMUM", (99, 0))
    with pytest.raises(SystemExit) as ended:
        setup_environment.ready("run")
    assert ended.value.code == exits.CANNOT_WRITE
    assert "is too old. Expected: 3.11 or newer." in capsys.readouterr().err
