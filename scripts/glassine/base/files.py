"""Files written whole or not at all, JSON that is the same every time, paths that stay inside."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Any

from glassine.base.errors import GlassineError

# Temporary names begin so, next to the file they become; `sweep` removes leftovers.
TEMPORARY_PREFIX = ".part-"
# A record larger than this is not one of ours (the largest, intake.json of 50,000 items, is 60 MB).
MAX_JSON_BYTES = 256 * 2**20


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Yield a temporary path; on success it is synced and takes the name `path`.

    On an exception the temporary file is removed and `path` stays as it was.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f"{TEMPORARY_PREFIX}{os.getpid()}-{path.name}"[:200] + path.suffix)
    try:
        yield temporary
        with temporary.open("rb") as written:
            os.fsync(written.fileno())
        temporary.replace(path)
        _sync_folder(path.parent)
    finally:
        temporary.unlink(missing_ok=True)


@contextlib.contextmanager
def replacing_folder(path: Path) -> Iterator[Path]:
    """Yield an empty temporary folder; on success it takes the place of the folder `path`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f"{TEMPORARY_PREFIX}{os.getpid()}-{path.name}")
    shutil.rmtree(temporary, ignore_errors=True)
    temporary.mkdir()
    try:
        yield temporary
        if path.exists():
            shutil.rmtree(path)
        temporary.rename(path)
        _sync_folder(path.parent)
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def write_bytes(path: Path, content: bytes) -> None:
    with replacing(path) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, text: str) -> None:
    write_bytes(path, text.encode("utf-8"))


def canonical(value: Any) -> str:
    """Return `value` as the shortest sorted JSON, for comparing and hashing."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def dump_json(value: Any) -> str:
    """Return `value` as JSON text: sorted keys, two blanks, a final newline, never NaN."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, indent=2, allow_nan=False) + "\n"


def write_json(path: Path, value: Any) -> None:
    write_text(path, dump_json(value))


def _no_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {key!r} stands twice")
        found[key] = value
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


# What a run makes again from masters and settings where it is missing, below `results/<batch>/`.
_MADE_AGAIN = {
    "done.json", "embedded.json", "films.json", "fixity.json", "geometry.json", "held.json",
    "intake.json", "looks.json", "manifest.json", "package.json", "quality.json", "render.json",
    "steps.json", "targets.json",
}  # fmt: skip


def advice_on(path: Path) -> str:
    """Return what a person does about a record that cannot be read.

    Only what the next run makes again may be removed; receipts, and whatever lies with deliveries
    or masters, tell what nothing else does.
    """
    if "deliveries" in path.parts or path.name.endswith(".receipt.json"):
        return (
            "Do not delete it: it tells what was delivered. Put it back from a backup of the "
            "deliveries, or from the copy that went out with the delivery; then run again."
        )
    if not path.exists():
        return "Run again; where it stays away, see the logs of the batch."
    if "results" in path.parts and path.name in _MADE_AGAIN:
        return "Check the disk, then move the file away; the next run makes it again."
    return "Check the disk, and put the file back from a backup; then run again."


def read_json(path: Path) -> Any:
    """Return what the JSON file holds.

    Raises GlassineError for a file that is missing, too large, not UTF-8, not JSON,
    or holds a key twice or NaN (RFC 8259 section 4 leaves duplicates undefined).
    """
    try:
        if path.stat().st_size > MAX_JSON_BYTES:
            raise ValueError(f"it is larger than {MAX_JSON_BYTES} bytes")
        return json.loads(
            path.read_text("utf-8"),
            object_pairs_hook=_no_duplicates,
            parse_constant=_no_constant,
        )
    except (OSError, ValueError, RecursionError) as problem:
        raise GlassineError.because(
            "files.json",
            path,
            f"This record cannot be read: {problem}.",
            "a JSON file as a step of the night wrote it.",
            advice_on(path),
        ) from problem


def inside(root: Path, relative: str) -> Path:
    """Return `root / relative`, refusing whatever would leave `root`.

    Raises ValueError for absolute paths, drive letters, `..`, backslashes, NUL and
    for links on the way that lead elsewhere.
    """
    pure = PurePosixPath(relative)
    bad = (
        not relative
        or "\0" in relative
        or "\\" in relative
        or pure.is_absolute()
        or ".." in pure.parts
        or (len(relative) > 1 and relative[1] == ":")
    )
    if bad:
        raise ValueError(f"the path {relative!r} is not one inside its folder")
    path = root / pure
    if not path.resolve().is_relative_to(root.resolve()):
        raise ValueError(f"the path {relative!r} leads out of its folder")
    return path


def sweep(folder: Path) -> list[Path]:
    """Remove temporary files and folders that a killed run left below `folder`; return them."""
    removed = []
    for path in sorted(folder.rglob(f"{TEMPORARY_PREFIX}*")):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
        removed.append(path)
    return removed


def sweep_dead(folder: Path) -> None:
    """Remove temporary files directly in `folder` whose writing process is gone."""
    for path in sorted(folder.glob(f"{TEMPORARY_PREFIX}*")):
        writer = path.name.removeprefix(TEMPORARY_PREFIX).partition("-")[0]
        if not Path(f"/proc/{writer}").exists() and path.is_file():
            path.unlink(missing_ok=True)


def read_schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema of a record file, e.g. `read_schema("intake")`."""
    path = Path(__file__).parent / "schemas" / f"{name}.schema.json"
    schema: dict[str, Any] = json.loads(path.read_text("utf-8"))
    return schema


def remove_tree(folder: Path) -> None:
    """Remove a folder of results with all that is in it."""
    shutil.rmtree(folder)
