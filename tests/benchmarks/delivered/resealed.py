"""Change delivered packages of each layout, seal them anew, and see whether validation tells.

    tests/benchmarks/run resealed

No receipt lies beside them. `sealed`: manifests, Payload-Oxum and the digests of delivery.json were
made anew; `thorough`: also every text that names the changed file's digest or size. `content`:
caught by checks of content; `first`: the first finding names a file that was changed; `signed`:
caught with the public key. 100 % of `signed` are demanded, all of `sealed` but what stands in one
place alone (`makers.resealed.UNSEEN`), and that nothing is found in what nobody changed.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from benchmarks.result import Outcome, Row
from glassine.deliver import bag, signing, validation
from makers import resealed


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--profile", choices=sorted(resealed.CHANGES), action="append")
    parser.add_argument("--change", help="only changes with these words in their name")
    options = parser.parse_args(arguments)
    os.environ["SOURCE_DATE_EPOCH"] = "1773800000"
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    rows: list[Row] = []
    good = True
    with tempfile.TemporaryDirectory() as name:
        bags = resealed.made(Path(name))
        for profile in options.profile or bags:
            (bags[profile] / bag.SIGNATURE).write_bytes(
                key.sign((bags[profile] / bag.SIGNED).read_bytes())
            )
            false = [each.sentence() for each in validation.judged(bags[profile]).wrong]
            for how in ("sealed", "thorough"):
                row = _tried(bags[profile], profile, how, options.change or "", key)
                row["false"] = len(false)
                rows.append(row)
                missed = {each for each in str(row["missed"] or "").split("; ") if each}
                whole = missed <= {*resealed.UNSEEN} or how == "thorough"
                good = good and whole and row["signed"] == row["changes"] and not false
                print(*(f"{name}: {value}" for name, value in row.items()), sep="; ", flush=True)
    return Outcome(rows, good=good)


def _tried(made: Path, profile: str, how: str, words: str, key: Ed25519PrivateKey) -> Row:
    names = [name for name in resealed.CHANGES[profile] if words in name]
    caught = first = signed = 0
    missed = []
    for change in names:
        with tempfile.TemporaryDirectory() as folder:
            root = Path(folder) / made.name
            resealed.make(made, root, profile, change, thorough=how == "thorough")
            wrong = _of_content(root)
            caught += bool(wrong)
            first += bool(wrong) and _names_a_change(wrong[0].path, made, root)
            if not wrong:
                missed.append(change)
            signature = (root / bag.SIGNATURE).read_bytes()
            content = (root / bag.SIGNED).read_bytes()
            signed += not signing.is_by(key.public_key(), signature, content)
            shutil.rmtree(root)
    return {
        "profile": f"{profile}, {how}",
        "changes": len(names),
        "content": caught,
        "first": first,
        "signed": signed,
        "missed": "; ".join(missed) or None,
    }


def _of_content(root: Path) -> list[validation.Finding]:
    """Return what is found without a key. The old signature is no finding then: bags here do not
    state a key."""
    return validation.judged(root).wrong


def _names_a_change(path: str, made: Path, root: Path) -> bool:
    """Return whether a finding's path is a file (or its folder) that differs from what was made."""
    before, now = resealed.digests_of(made), resealed.digests_of(root)
    differ = {each for each in {*before, *now} if before.get(each) != now.get(each)}
    named = path.partition("/")[2].partition(", line")[0]
    return any(each == named or each.startswith(f"{named}/") for each in differ)
