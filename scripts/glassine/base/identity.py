"""Who keeps the film and where it is served: what the settings must say before a record is made."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from glassine.base import settings
from glassine.base.errors import Finding, GlassineError

# What stands in every record, and no default could know: key, example, where to find it.
_IDENTITY = (
    ("institution.name", "Name of your institution"),
    ("institution.id", "https://www.your-institution.org/"),
    ("iiif.base_url", "https://images.your-institution.org/iiif"),
    ("rights.jurisdiction", "gb"),
)
# The worked example, and the top-level domains that RFC 2606 (section 2) reserves: nobody's.
_SAMPLES = {"Port Ellery Harbour Archive", *(example for _, example in _IDENTITY[:3])}
_NOBODYS = re.compile(
    r"[.@](?:example|invalid|test)(?:[/:]|$)|[.@/]example\.(?:com|net|org)(?:[/:]|$)"
)
SAMPLE_MASTERS = settings.PROJECT / "sample_masters"


def check_identity(config: dict[str, Any]) -> None:
    """See that the settings say who keeps the film, before any record is made.

    Raises GlassineError (run.identity), once for all that is missing, with the lines to write.
    """
    missing = [key for key, _ in _IDENTITY if not _setting(config, key).strip()]
    if not missing:
        return
    raise GlassineError.because(
        "run.identity",
        "config/config.yaml",
        f"It is not said who keeps the film and where it will be served: {', '.join(missing)} "
        f"{'is' if len(missing) == 1 else 'are'} missing. These stand in every record, picture and "
        "delivery; nothing was started.",
        "your own values; there is no default for them.",
        "Write into config/config.yaml (under a section that is there already, the inner part "
        "alone):\n" + _lines(missing) + "\n",
    )


def _lines(missing: list[str]) -> str:
    """Return YAML of the missing keys, a line a section, with values to be replaced."""
    sections: dict[str, list[str]] = {}
    for key, example in _IDENTITY:
        if key in missing:
            section, name = key.split(".")
            sections.setdefault(section, []).append(f'{name}: "{example}"')
    return "\n".join(f"{name}: {{{', '.join(keys)}}}" for name, keys in sections.items())


def _setting(config: dict[str, Any], key: str) -> str:
    section, name = key.split(".")
    return str(config.get(section, {}).get(name) or "")


def placeholders(config: dict[str, Any], masters: Path) -> Finding | None:
    """Return a finding where film of one's own would get the names of the worked example.

    masters: the folder of masters, or of a batch in it; the sample's own is left alone.
    """
    if masters.resolve().is_relative_to(SAMPLE_MASTERS):
        return None
    keys = (
        "institution.name", "institution.id", "institution.homepage", "institution.contact",
        "iiif.base_url", "rights.holder", "rights.credit", "delivery.profile_identifier",
    )  # fmt: skip
    found = [
        f"{key}: {value}"
        for key in keys
        if (value := _setting(config, key)) and (value in _SAMPLES or _NOBODYS.search(value))
    ]
    if not found:
        return None
    return Finding(
        "run.placeholder",
        "config/config.yaml",
        f"The settings still hold values of the worked example: {'; '.join(found)}. They stand in "
        "every record.",
        "your institution's own name and addresses.",
        "Correct these keys; the next run makes the records anew.",
        "review",
    )
