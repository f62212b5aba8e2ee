"""Who may read whom: rooms stand in layers, and no two modules read each other."""

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from glassine import steps

PACKAGE = Path(steps.__file__).parent
# From the ground up. A room reads its own layer's modules only within itself, and all layers below.
LAYERS = (
    {"base"},
    {"masters"},
    {"intake", "verify", "develop", "locate", "render", "embed", "targets"},
    {"look"},
    {"films"},
    {"record"},
    {"pack"},
    {"deliver"},
    {"handover", "publish"},
    {"audit"},
    {"report"},
    {"review"},
    {"reproduce", "store"},
    {"night"},
)
LEVEL = {room: level for level, rooms in enumerate(LAYERS) for room in rooms}


def module_of(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_of(path): path for path in PACKAGE.rglob("*.py")}


def for_types_alone(tree):
    """Return the imports below `if TYPE_CHECKING`: nothing is read there while it runs."""
    blocks = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
    ]
    return {inner for block in blocks for inner in ast.walk(block)}


def imports_of(path):
    tree = ast.parse(path.read_text("utf-8"))
    left_out = for_types_alone(tree)
    found = set()
    for node in ast.walk(tree):
        if not isinstance(node, ast.ImportFrom) or node in left_out:
            continue
        if (node.module or "").startswith("glassine"):
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            found |= {name if name in MODULES else node.module for name in names}
    return found


IMPORTS = {module: imports_of(path) for module, path in MODULES.items()}


def room_of(module):
    return module.split(".")[1] if "." in module else ""


def test_every_room_has_its_layer():
    rooms = {room_of(module) for module in MODULES} - {"", "steps"}
    assert rooms == set(LEVEL)


@pytest.mark.parametrize("room", sorted(LEVEL))
def test_a_room_reads_only_rooms_below_it(room):
    wrong = [
        f"{module} reads {other}"
        for module, others in IMPORTS.items()
        if room_of(module) == room
        for other in others
        if LEVEL.get(room_of(other), -1) >= LEVEL[room] and room_of(other) != room
    ]
    assert not wrong


def test_no_modules_read_each_other_in_a_circle():
    try:
        TopologicalSorter(IMPORTS).prepare()
    except CycleError as circle:
        pytest.fail(f"a circle: {' -> '.join(circle.args[1])}")


def test_every_step_has_a_room_with_its_function_and_version():
    for step in steps.STEPS:
        assert steps.version(step.name)
        assert f"def {step.name}_item(" in (PACKAGE / step.name / "step.py").read_text("utf-8")


def test_the_package_never_reads_the_engine():
    """Rules and entry scripts know the engine; the package serves them and tests alike."""
    for path in MODULES.values():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.split(".")[0] == "snakemake" for name in names), path
