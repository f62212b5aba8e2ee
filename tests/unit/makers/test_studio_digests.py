"""Which files are compared between two runs: all but those that tell of times and processes."""

from pathlib import Path

from makers.studio import Studio


def test_what_is_remembered_of_records_by_their_times_is_not_compared(tmp_path: Path) -> None:
    studio = Studio(tmp_path)
    for name in (
        "ids.json",
        "summary.json",
        "night/intake.json",
        "night/settled.json",
        "night/items/a/ids.json",
    ):
        path = tmp_path / "results" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("{}")
    assert [*studio.digests("results")] == ["night/intake.json", "night/items/a/ids.json"]
