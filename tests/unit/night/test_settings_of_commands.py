"""Commands take files of settings as a night does: over config/config.yaml, one over the other."""

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.night import by_hand, service


@pytest.fixture
def own(tmp_path, monkeypatch):
    """A project whose settings name an institution, and two files of a studio's own."""
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "config.yaml").write_text(
        "institution: {name: Port Ellery, id: 'https://a.example/'}\nmasters: one\n"
    )
    (tmp_path / "a.yaml").write_text("masters: two\ninstitution: {name: Harbour}\n")
    (tmp_path / "b.yaml").write_text("masters: three\n")
    monkeypatch.setattr(settings, "PROJECT", tmp_path)
    return tmp_path


def test_a_file_stands_over_the_projects_own_key_by_key(own):
    institution = {"name": "Harbour", "id": "https://a.example/"}
    files = [str(own / "a.yaml"), str(own / "b.yaml")]
    assert settings.stated(files) == {"masters": "three", "institution": institution}
    assert settings.stated([])["masters"] == "one"


def test_a_file_that_holds_no_settings_is_refused(own):
    (own / "a.yaml").write_text("- masters\n")
    with pytest.raises(GlassineError) as problem:
        settings.stated([own / "a.yaml"])
    assert "it holds no settings" in problem.value.findings[0].what


def test_a_command_between_nights_has_the_settings_of_the_service(tmp_path):
    """A file that names the masters alone: the institution comes from the project's own."""
    (tmp_path / "own.yaml").write_text(f"masters: {tmp_path}/film\n")
    begun = by_hand.begun(str(tmp_path), [str(tmp_path / "own.yaml")])
    assert not isinstance(begun, int)
    place, lock = begun
    lock.ended()
    assert place.config == service.place_of(tmp_path, [tmp_path / "own.yaml"]).config
    assert place.config["institution"]["name"] and place.masters == tmp_path / "film"
