"""The plain layout: one METS file at the top, the files in folders by their use."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

from glassine.base.records.package import PackagedFile
from glassine.pack.profiles import Context, Profile, tree_paths


class PlainMets(Profile):
    """METS.xml, manifest.json, masters/, access/, thumbs/, alternates/, iiif/, metadata/."""

    name: ClassVar[str] = "mets"

    def lay_out(self, plain: list[PackagedFile], context: Context) -> list[PackagedFile]:
        return plain

    def plain_paths(self, root: Path) -> dict[str, str] | None:
        if not (root / "METS.xml").is_file() or not (root / "metadata" / "fixity.json").is_file():
            return None
        return {path: path for path in tree_paths(root)}
