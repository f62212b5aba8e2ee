"""Whether two files hold the same picture but for last bits, as another processor rounds them.

What is the same to the byte is asked before; here all that stands beside the pixels must still be
the same, and the samples nearly. Where a picture is coded with loss, a last bit of a sample may
bring a coefficient to its next step, which is a few levels in the block around it: rarely, so the
share of pixels and the mean are held against a limit too. Measured between code paths that round
otherwise (with and without fused products, the sample batch, 74 JPEGs that differed): at most 3
levels, in at most one pixel of 900. With one sample in 400 a code of 16 bits off: 9 levels.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyvips

from glassine.embed import jpeg
from glassine.masters import opening

# In levels of 255: of a sample where it was coded with loss, and where not (16 bits); of the mean.
MAX_LEVELS, MAX_LEVELS_EXACT, MAX_MEAN = 12.0, 1.0, 0.05
MAX_SHARE = 0.05
_DHT = 0xC4
_BESIDE = ("icc-profile-data", "exif-data", "xmp-data", "iptc-data", "image-description")


@dataclass(frozen=True)
class Difference:
    """levels, mean: largest and mean difference of a sample, of 255; share: of differing pixels."""

    levels: float
    mean: float
    share: float

    def joined(self, other: Difference) -> Difference:
        return Difference(
            max(self.levels, other.levels),
            max(self.mean, other.mean),
            max(self.share, other.share),
        )


def between(made: Path, delivered: Path, digests: dict[str, str]) -> Difference | None:
    """Return by how much the pictures differ, None where more than last bits do.

    digests: those that texts in `made` name, and what the delivered ones name in their place
    (a picture's metadata tell the digest of its pixels). Other kinds of files, and what does not
    decode, are never the same picture.
    """
    opening.prepare_vips()
    try:
        if made.suffix == ".jpg" and not _same_segments(made, delivered, digests):
            return None
        return _of_pages(made, delivered, digests)
    except (pyvips.Error, ValueError):
        return None


def _same_segments(made: Path, delivered: Path, digests: dict[str, str]) -> bool:
    """Return whether all that stands before the scans is the same, but for Huffman tables."""
    ours, theirs = (
        [part for part in jpeg.split(path.read_bytes())[0] if part.marker != _DHT]
        for path in (made, delivered)
    )
    renamed = [jpeg.Segment(part.marker, _renamed(part.payload, digests)) for part in ours]
    return renamed == theirs


def _renamed(content: bytes, digests: dict[str, str]) -> bytes:
    for one, other in digests.items():
        content = content.replace(one.encode("ascii"), other.encode("ascii"))
    return content


def _of_pages(made: Path, delivered: Path, digests: dict[str, str]) -> Difference | None:
    """Compare every page that the files hold (the levels of a pyramid are pages)."""
    pages = [_pages(path) for path in (made, delivered)]
    if pages[0] != pages[1]:
        return None
    whole = Difference(0.0, 0.0, 0.0)
    for page in range(pages[0]):
        options = {"page": page} if pages[0] > 1 else {}
        images = [
            pyvips.Image.new_from_file(str(path), access="sequential", fail_on="error", **options)
            for path in (made, delivered)
        ]
        if not _alike(images[0], images[1], digests):
            return None
        differences = _difference(images[0], images[1])
        most = MAX_LEVELS if images[0].format == "uchar" else MAX_LEVELS_EXACT
        if (
            differences.levels > most
            or differences.mean > MAX_MEAN
            or differences.share > MAX_SHARE
        ):
            return None
        whole = whole.joined(differences)
    return whole


def _pages(path: Path) -> int:
    image = pyvips.Image.new_from_file(str(path), access="sequential")
    return int(image.get("n-pages")) if image.get_typeof("n-pages") else 1


def _alike(made: Any, delivered: Any, digests: dict[str, str]) -> bool:
    """Return whether two images agree in form and in what is said beside their pixels."""
    forms = [(one.width, one.height, one.bands, one.format) for one in (made, delivered)]
    if forms[0] != forms[1]:
        return False
    ours = {name: _renamed(content, digests) for name, content in _beside(made).items()}
    return ours == _beside(delivered)


def _beside(image: Any) -> dict[str, bytes]:
    found = {name: image.get(name) for name in _BESIDE if image.get_typeof(name)}
    return {
        name: value.encode() if isinstance(value, str) else bytes(value)
        for name, value in found.items()
    }


def _difference(made: Any, delivered: Any) -> Difference:
    full = {"uchar": 255, "ushort": 65535}[made.format]
    apart = (made.cast("int") - delivered.cast("int")).abs().copy_memory()
    differing = apart > 0
    share = (differing.bandor() if differing.bands > 1 else differing).avg() / 255
    return Difference(apart.max() * 255 / full, apart.avg() * 255 / full, share)
