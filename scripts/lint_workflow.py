"""Run `snakemake --lint` and judge what it says, but for the rules' missing conda environments."""

import re
import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1]
# One locked environment serves all rules, so that the linter's wish for one each is no fault.
ALLOWED = {"Specify a conda environment or container for each rule."}


def remaining(report: str) -> list[str]:
    """Return what the linter's text report names and is not allowed, as `place: title`."""
    found, place = [], "(no place)"
    for line in report.splitlines():
        if line.startswith("Lints for "):
            place = line.removeprefix("Lints for ").rstrip(":")
        title = re.match(r"\s+\* (.*?):?$", line)
        if title and title[1] not in ALLOWED:
            found.append(f"{place}: {title[1]}")
    return found


def main() -> int:
    if {"-h", "--help"} & {*sys.argv[1:]}:
        print(__doc__)
        return 0
    command = [Path(sys.executable).with_name("snakemake"), "--lint"]
    answer = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    report = answer.stdout + answer.stderr
    if "Lints for" not in report and answer.returncode:
        print(report)
        return answer.returncode
    lines = remaining(report)
    print("\n".join(lines) or "The workflow is clean.")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
