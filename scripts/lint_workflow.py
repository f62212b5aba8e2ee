"""Run `snakemake --lint` and judge what it says, but for the rules' missing conda environments."""

import json
import subprocess
import sys
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1]
# One locked environment serves all rules, so that the linter's wish for one each is no fault.
ALLOWED = {"Specify a conda environment or container for each rule."}


def remaining(report: dict) -> list[str]:
    """Return what the linter found and is not allowed, as lines `file, rule: title`."""
    found = []
    for rule in report.get("rules", []):
        found += [f"rule {rule['rule']}: {lint['title']}" for lint in rule["lints"]]
    for snakefile in report.get("snakefiles", []):
        found += [f"{snakefile['snakefile']}: {lint['title']}" for lint in snakefile["lints"]]
    return [line for line in found if line.split(": ", 1)[1] not in ALLOWED]


def main() -> int:
    command = [Path(sys.executable).with_name("snakemake"), "--lint", "json"]
    answer = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    start = answer.stdout.find("{")
    if start < 0:
        # Nothing at all to remark is said without JSON.
        print(answer.stdout + answer.stderr)
        return answer.returncode
    lines = remaining(json.loads(answer.stdout[start:]))
    print("\n".join(lines) or "The workflow is clean.")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
