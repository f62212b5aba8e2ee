"""What a technician's script would do with an item: turn, crop, sizes, tiles, digests.

It neither finds the frame (it is told the crop) nor inverts, measures, records or delivers.

  commands     a process each: both digests of the master (coreutils), libvips' own commands:
               similarity and crop to uncompressed intermediates, icc_transform once, thumbnails,
               dzsave, jpegsave; both digests of the results
  one process  the same by pyvips: decoded once, turned once, everything made of the copy in memory
"""

from __future__ import annotations

import hashlib
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pyvips

ACCESS_PX, THUMB_PX = "3000", "400"
TILES = {"layout": "iiif3", "tile-size": "512", "suffix": ".jpg[Q=85]"}
Figures = dict[str, float]


def vips(name: str, *arguments: str) -> list[str]:
    """Return the command of one operation of libvips: the program, else what does as it does."""
    if program := shutil.which("vips"):
        return [program, name, *arguments]
    site = Path(pyvips.__file__).parents[1]
    (library,) = (site / "pyvips_binary.libs").glob("libvips*.so*")
    launcher = str(Path(__file__).with_name("vips_command.py"))
    return [sys.executable, "-I", "-S", launcher, str(library), name, *arguments]


def commands(master: Path, crop: list[str], out: Path) -> list[list[str]]:
    """Return the commands for one item. crop: degrees, left, top, width, height."""
    angle, *box = crop
    data, turned, cropped, srgb = out / "data", *(str(out / f"{k}.v") for k in "tcs")
    tiles = [part for key, value in TILES.items() for part in (f"--{key}", value)]
    all_digests = "find data -type f -print0 | xargs -0"
    return [
        ["sha256sum", str(master)],
        ["sha512sum", str(master)],
        vips("similarity", str(master), turned, "--angle", angle, "--interpolate", "bicubic"),
        vips("crop", turned, cropped, *box),
        vips("icc_transform", cropped, srgb, "srgb", "--depth", "8"),
        vips("thumbnail", srgb, str(data / "access.jpg[Q=90]"), ACCESS_PX, "--size", "down"),
        vips("thumbnail", srgb, str(data / "thumb.jpg[Q=90]"), THUMB_PX, "--size", "down"),
        vips("dzsave", srgb, str(data / "tiles"), *tiles),
        vips("jpegsave", srgb, str(data / "full.jpg"), "--Q", "85"),
        [
            "sh",
            "-c",
            f"cd {out} && {all_digests} sha256sum > sha256 && {all_digests} sha512sum > 5",
        ],
    ]


def by_commands(
    master: Path, crop: list[str], out: Path, timed: Callable[[list[str]], Figures]
) -> Figures:
    """Do one item by separate commands; return the sum of their figures (peak_mb: the largest)."""
    shutil.rmtree(out, ignore_errors=True)
    (out / "data").mkdir(parents=True)
    parts = [timed(command) for command in commands(master, crop, out)]
    shutil.rmtree(out)
    return {
        "wall_s": sum(part["wall_s"] for part in parts),
        "cpu_s": sum(part["cpu_s"] for part in parts),
        "peak_mb": max(part["peak_mb"] for part in parts),
    }


def _both(path: Path) -> tuple[str, str]:
    sha256, sha512 = hashlib.sha256(), hashlib.sha512()
    with path.open("rb") as stream:
        while block := stream.read(2**22):
            sha256.update(block)
            sha512.update(block)
    return sha256.hexdigest(), sha512.hexdigest()


def in_one_process(jobs: list[list[str]]) -> None:
    """Do all items in this process, one after the other. jobs: master, folder, then the crop."""
    pyvips.cache_set_max(0)
    bicubic = pyvips.Interpolate.new("bicubic")
    for master, folder, angle, *box in jobs:
        data = Path(folder) / "data"
        shutil.rmtree(folder, ignore_errors=True)
        data.mkdir(parents=True)
        digests = [_both(Path(master))]
        image = pyvips.Image.new_from_file(master).similarity(
            angle=float(angle), interpolate=bicubic
        )
        whole = image.crop(*map(int, box)).icc_transform("srgb", depth=8).copy_memory()
        for name, edge in (("access.jpg", ACCESS_PX), ("thumb.jpg", THUMB_PX)):
            whole.thumbnail_image(int(edge), size="down").jpegsave(str(data / name), Q=90)
        form = {key.replace("-", "_"): value for key, value in TILES.items()}
        whole.dzsave(str(data / "tiles"), **{**form, "tile_size": 512})
        whole.jpegsave(str(data / "full.jpg"), Q=85)
        digests += [_both(path) for path in sorted(data.rglob("*")) if path.is_file()]
        Path(folder, "digests").write_text("\n".join(map(" ".join, digests)), "ascii")
        shutil.rmtree(folder)
