"""Write config/findings.md: every finding that can be made, by its code.

The sources of the package are read, none of it is run. A finding whose code, severity or place of
making cannot be read stops the script: change the source such that it can, or state it below.
"""

from __future__ import annotations

import argparse
import ast
import html
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass, field
from functools import cache
from itertools import groupby, product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from glassine.base import files, settings

SCRIPTS = Path(__file__).parent
PACKAGE = SCRIPTS / "glassine"
PAGE = SCRIPTS.parent / "config" / "findings.md"
SEVERITIES = ("hold", "review", "note")
FIELDS = ("code", "path", "what", "expected", "next_step", "severity")
OR = " *or* "  # between the choices of one text
DEPTH = 6  # helpers that call one another

HEAD = """# Findings

Each finding in the report, in `held.json` and in the logs ends with its code: look the code up
here to see what it means and what to do. `{...}` stands for what the finding itself names, and
`[...]` for words that are not always there.

hold: the item, batch or run cannot go on; review: it went on, a person should look; note: it went
on, for your information. This page is made from the sources by `scripts/document_findings.py`.
"""


@dataclass(frozen=True)
class Entry:
    """A finding as its source has it; `module`: where it is made, below scripts/glassine."""

    code: str
    severity: str
    module: str
    what: str
    expected: str
    next_step: str


class Unreadable(Exception):
    """What the source says is only known while it runs."""


class NeedsCaller(Exception):
    """What the source says stands where the function is called."""

    def __init__(self, function: ast.FunctionDef) -> None:
        super().__init__(function.name)
        self.function = function


@dataclass
class Module:
    name: str  # as in night/lock.py
    tree: ast.Module
    nodes: list[ast.AST] = field(default_factory=list)  # all of the tree, as ast.walk has them
    parents: dict[ast.AST, ast.AST] = field(default_factory=dict)
    imports: dict[str, tuple[str, str]] = field(default_factory=dict)  # name: (module, its name)
    calls: dict[str, list[ast.Call]] = field(default_factory=dict)  # by the name of what is called


@dataclass(frozen=True)
class Scope:
    """Where an expression stands: its module, the functions around it, what callers hand over."""

    module: Module
    functions: tuple[ast.FunctionDef, ...]  # from the inside out
    bound: dict[tuple[int, str], Bound]


Bound = tuple[ast.expr, Scope] | str


def _file_name(dotted: str) -> str:
    base = PACKAGE.joinpath(*dotted.split(".")[1:])
    found = base / "__init__.py" if base.is_dir() else base.with_suffix(".py")
    return found.relative_to(PACKAGE).as_posix() if found.exists() else ""


def parsed(name: str, text: str) -> Module:
    """Return a module's source, read for findings."""
    tree = ast.parse(text)
    module = Module(name, tree, list(ast.walk(tree)))
    for node in module.nodes:
        for child in ast.iter_child_nodes(node):
            module.parents[child] = node
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("glassine"):
            for alias in node.names:
                inner = _file_name(f"{node.module}.{alias.name}")
                found = (inner, "") if inner else (_file_name(node.module or ""), alias.name)
                module.imports[alias.asname or alias.name] = found
    for node in module.nodes:
        if isinstance(node, ast.Call):
            module.calls.setdefault(_called(node.func, module), []).append(node)
    return module


def _called(called: ast.expr, module: Module) -> str:
    if isinstance(called, ast.Attribute):
        return called.attr
    name = called.id if isinstance(called, ast.Name) else ""
    return module.imports.get(name, ("", ""))[1] or name


@cache
def sources() -> tuple[Module, ...]:
    """Return every module of the package and every entry script."""
    paths = [*sorted(PACKAGE.rglob("*.py")), *sorted(SCRIPTS.glob("*.py"))]
    return tuple(
        parsed(
            path.relative_to(PACKAGE).as_posix() if PACKAGE in path.parents else f"../{path.name}",
            path.read_text("utf-8"),
        )
        for path in paths
        if path != Path(__file__)
    )


def _functions_around(module: Module, node: ast.AST) -> tuple[ast.FunctionDef, ...]:
    found = []
    while node in module.parents:
        node = module.parents[node]
        if isinstance(node, ast.FunctionDef):
            found.append(node)
    return tuple(found)


def _parameters(function: ast.FunctionDef) -> list[str]:
    return [each.arg for each in (*function.args.args, *function.args.kwonlyargs)]


_OF_TEXT = ("replace", "upper", "lower", "strip", "rstrip", "hex", "decode", "casefold")
# What stands for a part in the page, where its name in the source says little.
_PLAIN = {
    "__name__": "kind", "strerror": "why", "msg": "why", "message": "why", "st_blocks": "bytes",
    "len": "number", "sum": "number", "found": "value", "told": "which", "given": "value",
}  # fmt: skip


def _placeholder(node: ast.expr) -> str:
    """Return a name for what an expression puts into a text."""
    name = ""
    if isinstance(node, ast.Attribute):
        name = node.attr
    elif isinstance(node, ast.Name):
        name = node.id
    elif isinstance(node, ast.Subscript):
        key = node.slice
        named = isinstance(key, ast.Constant) and isinstance(key.value, str)
        name = str(key.value) if named and isinstance(key, ast.Constant) else ""
        name = name or _placeholder(node.value)
    elif isinstance(node, ast.Call):
        name = _placeholder(_of_call(node))
    elif isinstance(node, ast.GeneratorExp | ast.ListComp | ast.SetComp):
        name = _placeholder(node.generators[0].iter)
    elif isinstance(node, ast.BoolOp):
        name = _placeholder(node.values[0])
    elif isinstance(node, ast.BinOp):
        name = _placeholder(node.right if isinstance(node.left, ast.Constant) else node.left)
    elif isinstance(node, ast.IfExp):
        name = _placeholder(node.body)
    elif isinstance(node, ast.JoinedStr):
        parts = [each for each in node.values if isinstance(each, ast.FormattedValue)]
        name = _placeholder(parts[0].value) if parts else ""
    name = name.strip("_") if name not in _PLAIN else _PLAIN[name]
    return name or "value"


def _of_call(node: ast.Call) -> ast.expr:
    """Return the expression that says best what a call returns."""
    called = node.func
    if ast.unparse(called).endswith("near"):
        return ast.Name("near")
    if ast.unparse(called) in ("map", "filter"):
        return node.args[1]
    if ast.unparse(called) in ("len", "sum") or not node.args:
        return called.value if isinstance(called, ast.Attribute) else called
    if isinstance(called, ast.Attribute) and called.attr in _OF_TEXT:
        return called.value
    return node.args[0]


def _inline(found: list[str]) -> str:
    """Return the choices of a part of a text in one text."""
    if len(found) > 1 and all(text.endswith(".") for text in found):
        return _inline([text[:-1] for text in found]) + "."
    if len(found) > 1 and "" in found:
        return f"[{'/'.join(each for each in found if each)}]"
    return "/".join(found)


class Reader:
    """Reads texts out of sources; `modules`: all that may hold a part of one."""

    def __init__(self, modules: tuple[Module, ...]) -> None:
        self.modules = modules
        self.by_name = {module.name: module for module in modules}
        self.made: list[Entry] = []
        self.used: set[int] = set()  # calls of helpers that were followed
        self.helpers: set[str] = set()

    # What an expression says

    def choices(self, node: ast.expr, scope: Scope, exact: bool = False) -> list[str]:
        """Return the texts that an expression can have.

        exact: raise Unreadable where a part of it is known only while it runs; else such a part
        is `{name}`.
        """
        try:
            return list(dict.fromkeys(self._choices(node, scope, exact)))
        except Unreadable:
            if exact:
                raise
            return ["{" + _placeholder(node) + "}"]

    def _choices(self, node: ast.expr, scope: Scope, exact: bool) -> list[str]:
        stated = scope.bound.get((0, ast.unparse(node)))
        if isinstance(stated, str):
            return [stated]
        if isinstance(node, ast.Constant):
            return ["" if node.value is None else str(node.value)]
        if isinstance(node, ast.JoinedStr):
            return self._joined(node, scope, exact)
        if isinstance(node, ast.IfExp):
            held = self._holds(node.test, scope)
            if held is not None:
                return self.choices(node.body if held else node.orelse, scope, exact)
            return [
                *self.choices(node.body, scope, exact),
                *self.choices(node.orelse, scope, exact),
            ]
        if isinstance(node, ast.BoolOp) and isinstance(node.op, ast.Or):
            found = [text for part in node.values for text in self.choices(part, scope, exact)]
            return [text for text in found if text]
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
            both = (self.choices(node.left, scope, exact), self.choices(node.right, scope, exact))
            if exact:
                return ["".join(parts) for parts in product(*both)]
            return [_inline(both[0]) + _inline(both[1])]
        if isinstance(node, ast.Name):
            return self._named(node, scope, exact)
        if isinstance(node, ast.Subscript):
            if isinstance(node.slice, ast.Slice):
                return self.choices(node.value, scope, exact)
            return self._values(node.value, node.slice, scope, exact)
        if isinstance(node, ast.Call):
            return self._called(node, scope, exact)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            module, name = scope.module.imports.get(node.value.id, ("", ""))
            if module in self.by_name and not name:
                return self._constant(self.by_name[module], node.attr, exact)
        raise Unreadable(ast.unparse(node))

    def _holds(self, test: ast.expr, scope: Scope) -> bool | None:
        """Tell whether a comparison with a text holds; None where only the run knows."""
        if not isinstance(test, ast.Compare) or not isinstance(test.ops[0], ast.Eq):
            return None
        try:
            sides = [self.choices(side, scope, True) for side in (test.left, *test.comparators)]
        except (Unreadable, NeedsCaller):
            return None
        both = [part for side in sides for text in side for part in text.split(", ")]
        return both[0] == both[1] if len(both) == 2 else None

    def _joined(self, node: ast.JoinedStr, scope: Scope, exact: bool) -> list[str]:
        parts: list[list[str]] = []
        for part in node.values:
            if isinstance(part, ast.Constant):
                parts.append([str(part.value)])
                continue
            assert isinstance(part, ast.FormattedValue)
            if exact:
                parts.append(self.choices(part.value, scope, exact))
            else:
                parts.append([_inline(self._part(part.value, scope))])
        whole = ("".join(each) for each in product(*parts))
        return [re.sub(r"(\{\w+\})\1", r"\1", text) for text in whole]

    def _part(self, node: ast.expr, scope: Scope) -> list[str]:
        """Return what a part in braces says: words that stand there, or its name in braces."""
        stated = scope.bound.get((0, ast.unparse(node)))
        if isinstance(stated, str):
            return [stated]
        if isinstance(node, ast.Name):
            for function in scope.functions:
                given = scope.bound.get((id(function), node.id))
                if isinstance(given, str):
                    return [given]
                if given is not None and isinstance(given[0], ast.Name):
                    return self._part(given[0], _with(given[1], scope))
                if given is not None and isinstance(given[0], ast.Constant | ast.JoinedStr):
                    return self.choices(given[0], _with(given[1], scope))
            known = self._few(node, scope)
            if known:
                return known
        if isinstance(node, ast.Name) and node.id.lstrip("_").isupper():
            return self.choices(node, scope)
        if isinstance(node, ast.IfExp):
            whole = [node.body, node.orelse]
            if all(isinstance(each, ast.Constant | ast.JoinedStr) for each in whole):
                return [text for each in whole for text in self.choices(each, scope)]
        return ["{" + _placeholder(node).lower() + "}"]

    def _few(self, node: ast.Name, scope: Scope) -> list[str]:
        """Return what a name of the function itself can stand for, where that is in the source."""
        for depth, function in enumerate(scope.functions):
            around = Scope(scope.module, scope.functions[depth:], scope.bound)
            try:
                found = self._assigned(function, node, around, exact=True)
            except (Unreadable, NeedsCaller):
                return []
            if found:
                return list(dict.fromkeys(found)) if len(found) < 4 else []
        return []

    def _named(self, node: ast.Name, scope: Scope, exact: bool) -> list[str]:
        for depth, function in enumerate(scope.functions):
            given = scope.bound.get((id(function), node.id))
            if isinstance(given, str):
                return [given]
            if given is not None:
                return self.choices(given[0], _with(given[1], scope), exact)
            around = Scope(scope.module, scope.functions[depth:], scope.bound)
            found = self._assigned(function, node, around, exact)
            if found:
                return found
            if node.id in _parameters(function):
                raise NeedsCaller(function)
        return self._constant(scope.module, node.id, exact)

    def _assigned(
        self, function: ast.FunctionDef, name: ast.Name, scope: Scope, exact: bool
    ) -> list[str]:
        """Return what a name can stand for by the assignments before it in a function."""
        found: list[str] = []
        node: ast.AST = name
        parents = scope.module.parents
        if function not in parents or name not in parents:
            return []
        while node is not function and node in parents:
            above = parents[node]
            if isinstance(above, ast.For) and node is not above.iter:
                found += self._looped(above, name, scope, exact)
            for block in _blocks(above):
                if node in block:
                    before = block[: block.index(node)]
                    done = self._before(before, name, scope, exact, found)
                    if done:
                        return found
            node = above
        return found

    def _before(
        self,
        statements: list[ast.AST],
        name: ast.Name,
        scope: Scope,
        exact: bool,
        found: list[str],
    ) -> bool:
        """Add what statements assign to a name, the last one first; tell if one surely does."""
        for statement in reversed(statements):
            added = [each for each in ast.walk(statement) if _adds_to(each, name.id)]
            for each in added:
                found += self._added(each, scope, exact)
            if any(each is statement for each in added):
                return True
            values = [part for each in ast.walk(statement) for part in _given_to(each, name.id)]
            for part in values:
                found += self._of_name(part, name, scope, exact)
            if values and _surely(statement, name.id):
                return True
        return False

    def _of_name(self, value: ast.expr, name: ast.Name, scope: Scope, exact: bool) -> list[str]:
        """Return the texts of what a name stands for; `{name}` where only the run knows."""
        try:
            return self._choices(value, scope, exact)
        except Unreadable:
            if exact:
                raise
            return ["{" + _PLAIN.get(name.id, name.id).strip("_") + "}"]

    def _added(self, node: ast.AST, scope: Scope, exact: bool) -> list[str]:
        """Return what a name stands for after `+=`."""
        assert isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name)
        first = self._assigned(scope.functions[0], node.target, scope, exact)
        return ["".join(each) for each in product(first, self.choices(node.value, scope, exact))]

    def _looped(self, loop: ast.For, name: ast.Name, scope: Scope, exact: bool) -> list[str]:
        if not isinstance(loop.iter, ast.Tuple | ast.List):
            names = {each.id for each in ast.walk(loop.target) if isinstance(each, ast.Name)}
            return ["{" + name.id + "}"] if name.id in names and not exact else []
        return [
            text
            for value in loop.iter.elts
            for part in _parts_of(loop.target, value, name.id)
            for text in self.choices(part, scope, exact)
        ]

    def _constant(self, module: Module, name: str, exact: bool) -> list[str]:
        value = self._value_of(module, name)
        if value is None:
            raise Unreadable(name)
        return self.choices(value[0], Scope(value[1], (), {}), exact)

    def _value_of(self, module: Module, name: str) -> tuple[ast.expr, Module] | None:
        """Return what stands behind a name at a module's top, and the module that has it."""
        for node in module.tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            if isinstance(node, ast.AnnAssign) and node.value:
                targets = [node.target]
            for target in targets:
                if isinstance(target, ast.Name) and target.id == name:
                    assert isinstance(node, ast.Assign | ast.AnnAssign) and node.value
                    return node.value, module
        where, inner = module.imports.get(name, ("", ""))
        return self._value_of(self.by_name[where], inner) if inner and where else None

    def _table(self, node: ast.expr, scope: Scope) -> tuple[ast.Dict, Module]:
        name, module = node, scope.module
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            where = scope.module.imports.get(node.value.id, ("", ""))[0]
            name, module = ast.Name(node.attr), self.by_name.get(where, module)
        value = self._value_of(module, name.id) if isinstance(name, ast.Name) else None
        if value is None or not isinstance(value[0], ast.Dict):
            raise Unreadable(ast.unparse(node))
        return value[0], value[1]

    def _values(self, table: ast.expr, key: ast.expr, scope: Scope, exact: bool) -> list[str]:
        described, module = self._table(table, scope)
        try:
            wanted = self.choices(key, scope, exact=True)
        except (Unreadable, NeedsCaller):
            wanted = []
        return [
            text
            for each, value in zip(described.keys, described.values, strict=True)
            if not wanted or (isinstance(each, ast.Constant) and each.value in wanted)
            for text in self.choices(value, Scope(module, (), {}), exact)
        ]

    def _called(self, node: ast.Call, scope: Scope, exact: bool) -> list[str]:
        called = node.func
        if isinstance(called, ast.Name) and called.id == "str" and node.args:
            return self.choices(node.args[0], scope, exact)
        if isinstance(called, ast.Attribute) and called.attr in ("rstrip", "strip", "replace"):
            return self.choices(called.value, scope, exact)
        if isinstance(called, ast.Attribute) and called.attr == "get" and len(node.args) == 2:
            found = self._values(called.value, node.args[0], scope, exact)
            known = (0, ast.unparse(node.args[0])) in scope.bound and found
            return found if known else [*found, *self.choices(node.args[1], scope, exact)]
        for module, function in self._functions_named(called, scope.module):
            inner = Scope(module, (function, *_functions_around(module, function)), {})
            found = []
            for each in ast.walk(function):
                if isinstance(each, ast.Return) and each.value is not None:
                    try:
                        found += self.choices(each.value, inner, exact)
                    except NeedsCaller:
                        found.append("{" + _placeholder(each.value) + "}")
            if found:
                return found
        raise Unreadable(ast.unparse(node))

    def _functions_named(
        self, called: ast.expr, module: Module
    ) -> Iterator[tuple[Module, ast.FunctionDef]]:
        """Yield the functions that a call in a module can mean, as far as names tell."""
        name, where = "", module.name
        if isinstance(called, ast.Name):
            name = called.id
            where, inner = module.imports.get(name, (where, name))
            name = inner or name
        elif isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
            name = called.attr
            where = module.imports.get(called.value.id, (where, ""))[0]
        if where in self.by_name:
            found = self.by_name[where]
            for node in found.nodes:
                if isinstance(node, ast.FunctionDef) and node.name == name:
                    yield found, node

    # Who calls a helper

    def callers(self, module: Module, function: ast.FunctionDef) -> list[tuple[Module, ast.Call]]:
        if isinstance(module.parents.get(function), ast.ClassDef):
            self.helpers.add(function.name)
        found = [
            (other, node)
            for other in self.modules
            for node in other.calls.get(function.name, ())
            if self._means(node.func, other, module, function)
        ]
        self.used |= {id(call) for _, call in found}
        if not found:
            raise Unreadable(f"no call of {function.name} in {module.name} can be found")
        return found

    def _means(
        self, called: ast.expr, other: Module, module: Module, function: ast.FunctionDef
    ) -> bool:
        owner = module.parents.get(function)
        if isinstance(called, ast.Name):
            if other.imports.get(called.id) == (module.name, function.name):
                return True
            if other is not module or called.id != function.name or isinstance(owner, ast.ClassDef):
                return False
            around = _functions_around(module, called)
            return not isinstance(owner, ast.FunctionDef) or owner in around
        if not isinstance(called, ast.Attribute) or called.attr != function.name:
            return False
        if not isinstance(owner, ast.ClassDef):
            known = isinstance(called.value, ast.Name) and other.imports.get(called.value.id)
            return bool(known) and known == (module.name, "")
        if isinstance(called.value, ast.Name) and called.value.id in other.imports:
            return False
        return self._class_of(called.value, other) in (owner.name, None) and (
            other is module or self._class_of(called.value, other) == owner.name
        )

    def _class_of(self, node: ast.expr, module: Module) -> str | None:
        """Return the name of an object's class, where the source states it; else None."""
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            for each in module.nodes:
                if (
                    isinstance(each, ast.AnnAssign)
                    and ast.unparse(each.target).removeprefix("self.") == node.attr
                ):
                    return ast.unparse(each.annotation).rpartition(".")[2]
                if _made_by_call(each, ast.unparse(node)):
                    return _class_called(each)
            return None
        if not isinstance(node, ast.Name):
            return None
        inner: ast.AST = node
        while inner in module.parents:
            inner = module.parents[inner]
            if isinstance(inner, ast.ClassDef) and node.id == "self":
                return inner.name
            if not isinstance(inner, ast.FunctionDef):
                continue
            for each in inner.args.args:
                if each.arg == node.id and each.annotation is not None:
                    return ast.unparse(each.annotation).strip("'\"").rpartition(".")[2]
            for made in ast.walk(inner):
                if _made_by_call(made, node.id):
                    return _class_called(made)
        return None

    # Findings

    def read(self) -> list[Entry]:
        """Return all findings, by code; raise Unreadable naming each that cannot be read."""
        wrong = []
        for module in self.modules:
            for node in module.nodes:
                if not isinstance(node, ast.Call) or not _makes(node):
                    continue
                try:
                    self._one(module, node)
                except (Unreadable, NeedsCaller) as problem:
                    wrong.append(f"{module.name}:{node.lineno}: {problem}")
        wrong += self._not_followed()
        if wrong:
            raise Unreadable("\n".join(wrong))
        return sorted(set(self.made), key=astuple)

    def _not_followed(self) -> list[str]:
        """Return calls of a helper's name that no helper was seen to be meant by."""
        names = {name for name in self.helpers if not name.startswith("__")}
        return [
            f"{module.name}:{node.lineno}: which `{node.func.attr}` is called cannot be read"
            for module in self.modules
            for node in module.nodes
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr in names
            and id(node) not in self.used
            and not any(self._functions_named(node.func, module))
        ]

    def _one(self, module: Module, node: ast.Call) -> None:
        functions = _functions_around(module, node)
        place = (module.name, functions[0].name if functions else "")
        if _handed_on(node, place):
            return
        for stated in _stated(place):
            self._made(module, node, Scope(module, functions, stated))

    def _made(self, module: Module, node: ast.Call, scope: Scope, depth: int = 0) -> None:
        """Note what a call makes; where a part stands with the callers, of each caller."""
        if depth > DEPTH:
            raise Unreadable("helpers call one another too deeply")
        try:
            for filled, inner in self._arguments(node, scope):
                self._note(module, filled, inner)
        except NeedsCaller as needs:
            home = next(each for each in self.modules if needs.function in each.parents)
            if any(key[0] == id(needs.function) for key in scope.bound):
                raise Unreadable(f"{needs} lacks a part") from None
            in_code = self._in_code(node, needs.function)
            for caller, call in self.callers(home, needs.function):
                around = _functions_around(caller, call)
                place = (caller.name, around[0].name if around else "")
                for stated in _stated(place):
                    where = Scope(caller, around, stated)
                    for handed in self._handed(needs.function, call, where):
                        more = {(id(needs.function), key): value for key, value in handed.items()}
                        bound = {**scope.bound, **more}
                        inner = Scope(scope.module, scope.functions, bound)
                        self._made(caller if in_code else module, node, inner, depth + 1)

    def _in_code(self, node: ast.Call, function: ast.FunctionDef) -> bool:
        code = node.args[0] if node.args else node.keywords[0].value
        names = {each.id for each in ast.walk(code) if isinstance(each, ast.Name)}
        return bool(names & set(_parameters(function)))

    def _handed(
        self, function: ast.FunctionDef, call: ast.Call, scope: Scope
    ) -> Iterator[dict[str, Bound]]:
        """Yield what a call hands over to a helper, by the names of its parameters."""
        names = [each.arg for each in function.args.args]
        if names and names[0] in ("self", "cls"):
            names = names[1:]
        defaults = dict(zip(names[::-1], function.args.defaults[::-1], strict=False))
        for key, default in zip(function.args.kwonlyargs, function.args.kw_defaults, strict=True):
            if default is not None:
                defaults[key.arg] = default
        for values, inner in self._unpacked(call.args, scope):
            found: dict[str, Bound] = {key: (value, inner) for key, value in defaults.items()}
            found |= {key: (value, inner) for key, value in zip(names, values, strict=False)}
            found |= {each.arg: (each.value, inner) for each in call.keywords if each.arg}
            yield found

    def _unpacked(
        self, arguments: list[ast.expr], scope: Scope
    ) -> Iterator[tuple[list[ast.expr], Scope]]:
        """Yield the arguments of a call, those behind a star one by one."""
        starred = next((each for each in arguments if isinstance(each, ast.Starred)), None)
        if starred is None:
            yield list(arguments), scope
            return
        at = arguments.index(starred)
        for parts, inner in self._starred(starred.value, scope):
            yield [*arguments[:at], *parts, *arguments[at + 1 :]], inner

    def _starred(self, node: ast.expr, scope: Scope) -> Iterator[tuple[list[ast.expr], Scope]]:
        if isinstance(node, ast.Subscript):
            table, _ = self._table(node.value, scope)
            for key, value in zip(table.keys, table.values, strict=True):
                assert isinstance(key, ast.Constant) and isinstance(value, ast.Tuple)
                if isinstance(node.slice, ast.Constant) and node.slice.value != key.value:
                    continue
                bound = dict(scope.bound)
                if isinstance(node.slice, ast.Name):
                    bound[id(scope.functions[0]), node.slice.id] = str(key.value)
                yield list(value.elts), Scope(scope.module, scope.functions, bound)
            return
        if isinstance(node, ast.Name):
            for function in scope.functions:
                given = scope.bound.get((id(function), node.id))
                if given is not None and not isinstance(given, str):
                    yield from self._starred(given[0], _with(given[1], scope))
                    return
                for each in ast.walk(function):
                    for part in _given_to(each, node.id):
                        if isinstance(part, ast.Tuple):
                            yield list(part.elts), scope
                            return
        raise Unreadable(f"*{ast.unparse(node)}")

    def _arguments(
        self, node: ast.Call, scope: Scope
    ) -> Iterator[tuple[dict[str, ast.expr], Scope]]:
        for values, inner in self._unpacked(node.args, scope):
            filled = dict(zip(FIELDS, values, strict=False))
            filled |= {each.arg: each.value for each in node.keywords if each.arg}
            filled.setdefault("severity", ast.Constant("hold"))
            if set(filled) != set(FIELDS):
                raise Unreadable(ast.unparse(node))
            yield filled, inner

    def _note(self, module: Module, filled: dict[str, ast.expr], scope: Scope) -> None:
        codes = self.choices(filled["code"], scope, exact=True)
        severities = self.choices(filled["severity"], scope, exact=True)
        severities = [part for text in severities for part in text.split(", ")]
        if not set(severities) <= set(SEVERITIES):
            raise Unreadable(f"severity {severities}")
        what, expected, step = (
            OR.join(" ".join(text.split()) for text in self.choices(filled[key], scope) if text)
            for key in ("what", "expected", "next_step")
        )
        severity = ", ".join(sorted(severities, key=SEVERITIES.index))
        for code in codes:
            self.made.append(Entry(code, severity, module.name, what, expected, step))


def _with(scope: Scope, outer: Scope) -> Scope:
    """Return a scope that also knows what is bound where it is asked from."""
    return Scope(scope.module, scope.functions, {**scope.bound, **outer.bound})


def _blocks(node: ast.AST) -> list[list[ast.AST]]:
    """Return the blocks of statements in a statement."""
    named = (getattr(node, key, []) for key in ("body", "orelse", "finalbody"))
    return [block for block in named if isinstance(block, list)]


def _given_to(node: ast.AST, name: str) -> list[ast.expr]:
    """Return what a statement itself assigns to a name."""
    if isinstance(node, ast.AnnAssign) and node.value is not None:
        return _parts_of(node.target, node.value, name)
    if isinstance(node, ast.Assign):
        return [part for target in node.targets for part in _parts_of(target, node.value, name)]
    return []


def _made_by_call(node: ast.AST, name: str) -> bool:
    """Tell whether a statement gives a name what a call returns, as an object of a class."""
    called = isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)
    return called and isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == name


def _class_called(node: ast.AST) -> str:
    assert isinstance(node, ast.Assign) and isinstance(node.value, ast.Call)
    return ast.unparse(node.value.func).rpartition(".")[2]


def _adds_to(node: ast.AST, name: str) -> bool:
    target = node.target if isinstance(node, ast.AugAssign) else None
    return isinstance(target, ast.Name) and target.id == name


def _surely(node: ast.AST, name: str) -> bool:
    """Tell whether a name has a new value after a statement, whichever way it went."""
    if isinstance(node, ast.If):
        return all(_block_surely(block, name) for block in (node.body, node.orelse))
    return bool(_given_to(node, name))


def _block_surely(block: list[ast.stmt], name: str) -> bool:
    leaves = bool(block) and isinstance(
        block[-1], ast.Return | ast.Raise | ast.Continue | ast.Break
    )
    return leaves or any(_surely(each, name) for each in block)


def _parts_of(target: ast.expr, value: ast.expr, name: str) -> list[ast.expr]:
    """Return what is assigned to a name by one assignment."""
    if isinstance(target, ast.Name):
        return [value] if target.id == name else []
    if not isinstance(target, ast.Tuple):
        return []
    if isinstance(value, ast.IfExp):
        return [*_parts_of(target, value.body, name), *_parts_of(target, value.orelse, name)]
    if not isinstance(value, ast.Tuple):
        wanted = any(isinstance(each, ast.Name) and each.id == name for each in target.elts)
        return [ast.Call(ast.Name("_unknown"), [], [])] if wanted else []
    return [
        part
        for each, inner in zip(target.elts, value.elts, strict=False)
        for part in _parts_of(each, inner, name)
    ]


def _makes(node: ast.Call) -> bool:
    """Tell whether a call makes a finding, or makes another of one."""
    called = ast.unparse(node.func).rpartition(".")[2]
    if called == "replace":
        return any(each.arg is None or each.arg in FIELDS[2:] for each in node.keywords)
    return called in ("Finding", "because")


# Findings that were recorded and are read back, or handed on with other words for one place alone:
# they stand in the table by their own code.
HANDED_ON: dict[tuple[str, str], str] = {
    ("audit/holdings.py", "_not_compared"): "a damaged record, with what cannot be compared by it",
    ("audit/holdings.py", "_bags_not_compared"): "a damaged receipt, likewise",
    ("audit/reading.py", "read"): "a damaged record, likewise",
    ("base/errors.py", "shown"): "the same finding, its hidden characters made visible",
    ("base/errors.py", "because"): "what it is called with is read at its calls",
    ("base/item_states.py", "finding"): "what a record holds, over the words for one without any",
    ("deliver/checks/said.py", "_as_delivered"): "what a record's own check found, for a receiver",
    ("deliver/validation.py", "add"): "the same finding, its path with the name of the bag",
    ("deliver/validation.py", "receipt_entry"): "a damaged receipt, with the step for a receipt",
    ("locate/step.py", "_decided"): "a frame, not a finding",
    ("report/films.py", "shown"): "read back from films.json",
    ("render/tone.py", "_rounded"): "a part of a tone, not a finding",
    ("night/run.py", "stop"): "the same finding, its next step in several lines",
    ("base/target_results.py", "check"): "read back from the record of the targets",
    ("targets/demands.py", "_of_result"): "read back from the result of a capture",
    ("targets/step.py", "_set"): "a part of a result, not a finding",
    ("verify/step.py", "verify_item"): "what intake found, handed on",
}
# Findings handed on with another severity: (module, function): (code, severity).
RAISED: dict[tuple[str, str], tuple[str, str]] = {
    ("deliver/step.py", "sound_receipts"): ("delivery.receipt_rebuilt", "hold"),
}
# The parts of the run that one supervisor watches; the first is the job of an item as a whole.
WATCHED = (
    "item", "verify", "develop", "locate", "look", "render", "embed", "record", "pack",
    "intake", "films", "targets", "deliver", "report", "fetch", "send", "digest",
)  # fmt: skip
_AS_SETTINGS = "as under settings.value, of the target's description."
_AS_LISTED = {
    "what": "As under intake.manifest_line.",
    "expected": "as under intake.manifest_line.",
    "next_step": "As under intake.manifest_line.",
}
_BY_SETTING = {"severity": "hold, review, note"}  # targets.on_failure


def _criteria() -> list[str]:
    """Return the criteria that the tables of limits for targets have."""
    tables = settings.read_yaml(SCRIPTS.parent / "config" / "target_limits.yaml")["tables"]
    return sorted({name for table in tables.values() for name in table["criteria"]})


@cache
def _known_by_run() -> dict[tuple[str, str], list[dict[str, str]]]:
    """Return what only the run knows, by module and function: each case, by its expressions."""
    return {
        ("night/supervision.py", "_ended"): [{"step": step} for step in WATCHED],
        ("night/supervision.py", "_unexpected"): [{"step": step} for step in WATCHED],
        ("night/supervision.py", "_check_room"): [{"frame.step": step} for step in WATCHED],
        ("intake/catalogue/row_rights.py", "_contradiction"): [{"severity": "hold, review"}],
        ("night/notify.py", "send"): [{"name": "mail"}, {"name": "webhook"}],
        ("night/agreement.py", "_not_finite"): [{"key": "<key>"}],
        ("store/masters.py", "read_list"): [
            {f"each.{key}": words for key, words in _AS_LISTED.items()}
        ],
        ("targets/description.py", "_renamed"): [
            {
                "finding.what": _AS_SETTINGS,
                "finding.expected": _AS_SETTINGS,
                "finding.next_step": _AS_SETTINGS,
            }
        ],
        ("targets/demands.py", "holds"): [{"section.on_failure": _BY_SETTING["severity"]}],
        ("targets/demands.py", "_nothing_judged"): [_BY_SETTING],
        ("targets/demands.py", "_missed"): [
            {"criterion.criterion": name, **_BY_SETTING} for name in _criteria()
        ],
        ("intake/catalogue/rows.py", "_dated"): [
            {"problem.code": "edtf", "problem.severity": "review"},
            {"problem.code": "date", "problem.severity": "review"},
            {"problem.code": "bounds", "problem.severity": "review"},
            {"problem.code": "date_contradicts", "problem.severity": "review"},
        ],
    }


def _stated(place: tuple[str, str]) -> list[dict[tuple[int, str], Bound]]:
    """Return the cases of a place, as what is bound there; one without any where none is known."""
    cases = _known_by_run().get(place, [{}])
    return [{(0, text): value for text, value in case.items()} for case in cases]


def _handed_on(node: ast.Call, place: tuple[str, str]) -> bool:
    """Tell whether a call hands on a finding that was made elsewhere, as listed."""
    replaced = ast.unparse(node.func).endswith("replace") and place in RAISED
    unpacked = any(each.arg is None for each in node.keywords)
    again = unpacked or ast.unparse(node.func).endswith("replace")
    return replaced or (place in HANDED_ON and (again or place[0] == "base/errors.py"))


@cache
def entries() -> tuple[Entry, ...]:
    """Return every finding of the package; raise Unreadable naming each that cannot be read."""
    found = Reader(sources()).read()
    codes = {each.code for each in found}
    for code, severity in RAISED.values():
        if code not in codes:
            raise Unreadable(f"there is no finding {code} to be {severity}")
    return tuple(found)


def severities(code: str) -> str:
    """Return the severities that a code can have, the gravest first."""
    known = {part for each in entries() if each.code == code for part in each.severity.split(", ")}
    known |= {severity for raised, severity in RAISED.values() if raised == code}
    return ", ".join(sorted(known, key=SEVERITIES.index))


def _cell(texts: Iterable[str]) -> str:
    """Return texts in one cell of a table, nothing in them read as marks of the page."""
    joined = "<br>".join(html.escape(text, quote=False) for text in dict.fromkeys(texts))
    return re.sub(r"([|*_`\\\[\]])", r"\\\1", joined.replace(OR, "\0")).replace("\0", " *or* ")


HEADINGS = "| code | severity | where | what it says | what is expected | what to do |"


def page() -> str:
    """Return the page: for each prefix a table, for each code a row."""
    lines = [HEAD]
    for prefix, of_prefix in groupby(entries(), key=lambda each: each.code.partition(".")[0]):
        lines += [f"## {prefix}", "", HEADINGS]
        lines.append("| --- | --- | --- | --- | --- | --- |")
        for code, group in groupby(of_prefix, key=lambda each: each.code):
            made = list(group)
            where = ", ".join(f"`{name}`" for name in sorted({each.module for each in made}))
            what = _cell(each.what for each in made)
            step = _cell(each.next_step for each in made)
            expected = _cell(each.expected for each in made)
            lines.append(
                f"| `{code}` | {severities(code)} | {where} | {what} | {expected} | {step} |"
            )
        lines.append("")
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only tell whether it is current")
    arguments = parser.parse_args()
    if arguments.check:
        return 0 if PAGE.exists() and PAGE.read_text("utf-8") == page() else 1
    files.write_text(PAGE, page())
    return 0


if __name__ == "__main__":
    sys.exit(main())
