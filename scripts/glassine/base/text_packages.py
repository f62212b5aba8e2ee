"""Whether the packages that read writing are installed: an optional part of the environment."""

from __future__ import annotations

import importlib.util

from glassine.base.errors import Finding

# As it is imported.
PACKAGE = "rapidocr_onnxruntime"


def are_installed() -> bool:
    """Return whether the packages are there; nothing of them is loaded for that."""
    return importlib.util.find_spec(PACKAGE) is not None


def missing() -> Finding:
    """Return what is told where writing is to be read and the packages are not there."""
    return Finding(
        "locate.text_reader",
        "config.yaml",
        "`locate.seen_text` asks for writing to be read, but the packages that read it are not "
        "installed.",
        "the environment of requirements-text.lock.",
        'Install them (cd scripts && python3 -c "import setup_environment; '
        "setup_environment.ready('text')\"), or set `locate.seen_text: false`.",
    )
