"""The sample masters, and what is made of them, do not depend on the processor's vectors."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from glassine.base import processor
from glassine.locate import encoding
from makers import processors
from makers.film import samples
from makers.targets import draw_samples

PROJECT = Path(__file__).resolve().parents[3]
OTHERS = [name for name, more in processors.environments().items() if more]
MANIFEST = PROJECT / "sample_masters" / samples.BATCH / "manifest-sha256.txt"
# Three hand-cut frames: several placements, one of them a keystone.
MASTERS = ("PEH-0007.tif",)
DRAW = """
import sys
from pathlib import Path
from makers.film import samples
from makers.targets import draw_samples
folder = Path(sys.argv[1])
list(draw_samples.write(folder / samples.TARGETS))
sample = next(one for one in samples.SAMPLES if one.name == "PEH-0010_sleeve.tif")
sample.write(folder, sample.plan())
"""


def run(environment: str, *arguments: str) -> str:
    more = processors.environments()[environment]
    paths = os.pathsep.join(str(PROJECT / name) for name in ("scripts", "tests"))
    done = subprocess.run(
        [sys.executable, *arguments],
        env={**os.environ, **more, "PYTHONPATH": paths, "SOURCE_DATE_EPOCH": "1773800000"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_other_paths_are_really_taken() -> None:
    """Without them a test below would compare a thing with itself, and say so here."""
    tell = "from numpy._core import _multiarray_umath as c; print(c.__cpu_features__['X86_V3'])"
    here = run("this processor", "-c", tell).strip()
    if here != "True":
        pytest.skip("this processor has no wider path to leave unused")
    assert run("without AVX2", "-c", tell).strip() == "False"


def test_float32_powers_do_differ_where_the_processor_has_wide_vectors() -> None:
    """The reason for all this: numpy's own float32 power, on a machine where it shows."""
    tell = (
        "import numpy as np, hashlib; x = np.linspace(0, 1, 65536, dtype='f4');"
        "print(hashlib.sha256((x ** np.float32(1 / 2.2)).tobytes()).hexdigest())"
    )
    if "AVX512" not in processors.environments()["without AVX-512"]["NPY_DISABLE_CPU_FEATURES"]:
        pytest.skip("this processor has no AVX-512")
    assert run("this processor", "-c", tell) != run("without AVX2", "-c", tell)


@pytest.mark.parametrize("environment", OTHERS)
def test_the_samples_are_drawn_alike(environment: str, tmp_path: Path) -> None:
    run(environment, "-c", DRAW, str(tmp_path))
    lines = MANIFEST.read_text("utf-8").splitlines()
    digests = {line.split("  ", 1)[1]: line.split("  ", 1)[0] for line in lines}
    made = sorted(path for path in tmp_path.rglob("*") if path.is_file())
    assert len(made) == 5
    for path in made:
        name = path.relative_to(tmp_path).as_posix()
        assert samples.sha256(path) == digests[name], name


@pytest.fixture(scope="module")
def made_here(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    return digests_of("this processor", tmp_path_factory.mktemp("here"))


def digests_of(environment: str, folder: Path) -> list[str]:
    script = str(PROJECT / "tests" / "makers" / "steps_once.py")
    return run(environment, script, str(folder), *MASTERS).splitlines()


@pytest.mark.parametrize("environment", OTHERS)
def test_records_and_pictures_are_the_same_bytes(
    environment: str, made_here: list[str], tmp_path: Path
) -> None:
    assert {"geometry.json", "quality.json", "render.json", "targets.json"} <= {
        Path(line.split("  ", 1)[1]).name for line in made_here
    }
    assert sum(line.endswith(".jpg") for line in made_here) > 20
    made = digests_of(environment, tmp_path)
    assert [line for line in made if line not in made_here] == []
    assert len(made) == len(made_here)


def test_tables_of_light_are_those_of_double_precision() -> None:
    """Sum and quotient are float32: 2.4 times their rounding (6e-8 each), and the result's own."""
    x = np.linspace(0, 1, 65536)
    exact = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
    assert np.abs(encoding.linear_table("srgb") - exact).max() < 4e-7
    assert np.abs(encoding.linear_table("gamma-1.8") - x**1.8).max() < 2e-7
    assert processor.power(np.float32([0.25]), 0.5).dtype == np.float32
    assert processor.log10(np.float32([0.01]))[0] == np.float32(-2)


def test_the_sample_targets_are_drawn_by_rounded_powers() -> None:
    """To half a unit in the last place of float32, by Python's own double precision."""
    value = draw_samples.dt._power(np.full((1, 1, 3), 0.5, np.float32), 1 / draw_samples.dt.GAMMA)
    assert value.dtype == np.float32
    assert float(value[0, 0, 0]) == pytest.approx(0.5 ** (256 / 563), abs=4e-8)


def _is_float32(node: ast.AST) -> bool:
    """Whether an operand is np.float32(...) or something.astype(np.float32 or "f4")."""
    text = ast.unparse(node)
    return isinstance(node, ast.Call) and (
        text.startswith("np.float32(") or text.endswith((".astype(np.float32)", ".astype('f4')"))
    )


def test_no_float32_is_taken_to_a_power_or_multiplied_as_a_matrix() -> None:
    """The plain cases, in the sources; what is hidden in a variable only the tests above find."""
    found = []
    folders = ("scripts/glassine", "tests/makers/film", "tests/makers/targets")
    for path in sorted(path for name in folders for path in (PROJECT / name).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow | ast.MatMult):
                squared = isinstance(node.right, ast.Constant) and node.right.value == 2
                if not squared and (_is_float32(node.left) or _is_float32(node.right)):
                    found.append(f"{path.relative_to(PROJECT)}:{node.lineno}")
    assert found == []
