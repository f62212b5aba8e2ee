"""A night of held items prints one line an item, the summary, and none of the engine's words."""

from __future__ import annotations

import os
import subprocess

import pytest

from faults import batches
from makers.studio import PROJECT

ITEMS = 26
# The engine's first three lines, the report's four, handover, audit, what was not done.
MOST_OTHER_LINES = 15


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What a night says of 26 items: some cut short, some not as listed, some without a row."""
    root = tmp_path_factory.mktemp("held")
    items = batches.make_batch(root / "masters", ITEMS)
    folder = root / "masters" / batches.BATCH
    digests = folder / "manifest-sha256.txt"
    lines = digests.read_text("utf-8").splitlines()
    wrong = [f"{'0' * 64}{line[64:]}" if at < 12 else line for at, line in enumerate(lines)]
    digests.write_text("\n".join(wrong) + "\n", "utf-8")
    rows = (folder / "catalogue.csv").read_text("utf-8").splitlines()
    (folder / "catalogue.csv").write_text("\n".join(rows[:9] + rows[19:]) + "\n", "utf-8")
    for item in items[18:]:
        master = folder / f"{item}.tif"
        os.truncate(master, master.stat().st_size // 2)
    command = [PROJECT / "scripts" / "nightly", "--directory", root, "--config", "masters=masters"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, cwd=root)
    assert done.returncode == 1
    return [line for line in (done.stdout + done.stderr).splitlines() if line]


def test_each_held_item_has_one_line_that_names_it(said: list[str]) -> None:
    held = [line for line in said if line.startswith("HELD ")]
    names = {word.strip(":").removesuffix(".tif") for word in (line.split()[1] for line in held)}
    assert len(held) == len(names) == ITEMS


def test_beside_them_stands_the_summary_alone(said: list[str]) -> None:
    others = [line for line in said if not line.startswith("HELD ")]
    assert len(others) <= MOST_OTHER_LINES, others
    assert "night: 26 items: 26 held" in others
    assert not [line for line in others if "Error" in line or "Traceback" in line]
    assert [line for line in others if line.startswith("NOT DONE night: 26 items are not done")]
