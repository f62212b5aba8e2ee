"""Take sample masters through the steps that compute pixels; print a digest of each file made.

    python tests/makers/steps_once.py FOLDER NAME [NAME ...]    e.g. PEH-0007.tif

The sample targets are measured too. Run by tests in processes of different environments.
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(PROJECT / "scripts"), str(PROJECT / "tests")]

import msgspec  # noqa: E402

from glassine.base import files, model, settings  # noqa: E402
from glassine.base.processor import same_everywhere  # noqa: E402
from makers import made_items, target_calls  # noqa: E402
from makers.step_calls import do_step  # noqa: E402

BATCH = PROJECT / "sample_masters" / "harbour-2026-03"


def take(name: str, folder: Path) -> None:
    """Verify, locate and render the master of this name."""
    item_dir = folder / Path(name).stem
    item_dir.mkdir(parents=True)
    given = {
        **made_items.given_for(Path(name).stem, BATCH / name),
        "settings": settings.load({}),
        "findings": [],
        "facts": model.Facts().as_dict(),
        "corrections": None,
    }
    given["masters"][0]["path"] = name
    do_step("verify", BATCH, item_dir, given)
    do_step("locate", BATCH, item_dir, given)
    do_step("look", BATCH, item_dir, given | {"pools": True})
    do_step("render", BATCH, item_dir, given)


def measure(folder: Path) -> None:
    same_everywhere()
    entries = [
        {
            "path": f"targets/{kind}-target.tif",
            "description": f"{kind}-example.yaml",
            "flat_field": f"targets/{kind}-light.tif",
        }
        for kind in ("film", "print")
    ]
    results = target_calls.measured(BATCH, folder / "t", entries, batch="b1")
    files.write_json(folder / "targets.json", msgspec.to_builtins(results))


def main() -> None:
    folder = Path(sys.argv[1])
    for name in sys.argv[2:]:
        take(name, folder)
    measure(folder)
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            print(f"{digest}  {path.relative_to(folder)}")


if __name__ == "__main__":
    main()
