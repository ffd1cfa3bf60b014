"""Change one thing of a module's code at a time and see whether its tests notice: prints a score.

Run ``python tests/bench/mutants.py wellring.postprocess.stability.uplift
tests/postprocess/stability/test_stability.py [-k words]``.
Sums, products, comparisons, bounds (minimum, maximum), conditions and numbers are
changed. The tests run once unchanged; the fixtures they made (solved runs among them) then stay,
and every mutant runs the tests up to the first failure in a fork of that process. So only code that
the tests call themselves is judged, not what a fixture did before. POSIX only.
"""

from __future__ import annotations

import ast
import importlib
import os
import signal
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

import numpy as np
import pytest

LONGEST_S = 120
"""Seconds of CPU after which a mutant counts as noticed: its tests hang."""
OPERATORS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Lt: ast.GtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.LtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
NAMES = {"minimum": "maximum", "argmax": "argmin", "max": "min", "any": "all", "cumsum": "cumprod"}
NAMES |= {value: key for key, value in NAMES.items() if key != "cumsum"}


@dataclass
class Mutant:
    """One change: the line, what became what, and the module's whole changed tree."""

    line: int
    what: str
    tree: ast.Module


def mutants(source: str) -> Iterator[Mutant]:
    """All mutants of a source text, one after the other."""
    for number in range(10_000):
        tree = ast.parse(source)
        left = number
        for parent in _walk(tree):
            made, left = _change(parent, left)
            if made:
                yield Mutant(getattr(parent, "lineno", 0), made, tree)
                break
        else:
            return


def _walk(node: ast.AST) -> Iterator[ast.AST]:
    """All nodes but annotations and decorators, which change no result."""
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _walk(child)


def _change(node: ast.AST, left: int) -> tuple[str, int]:
    """Make the change number `left` of a node, if it has so many; else what is left to count."""
    ways: list[tuple[Any, str, Any]] = []
    for name in ("op", "ops"):
        given = getattr(node, name, None)
        for index, op in enumerate(given if isinstance(given, list) else [given]):
            if type(op) in OPERATORS:
                ways.append((node, f"{name}:{index}", OPERATORS[type(op)]()))
    if isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
        changed = not node.value if isinstance(node.value, bool) else node.value + 1
        ways.append((node, "value", changed))
    if isinstance(node, ast.Attribute) and node.attr in NAMES:
        ways.append((node, "attr", NAMES[node.attr]))
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Invert | ast.Not):
        ways.append((node, "op", ast.UAdd() if isinstance(node.op, ast.USub) else None))
    if left >= len(ways):
        return "", left - len(ways)
    where, name, new = ways[left]
    before = ast.unparse(where)
    if isinstance(where, ast.UnaryOp) and new is None:
        where.op = ast.Not() if isinstance(where.op, ast.Invert) else ast.UAdd()
    elif name.startswith("ops:"):
        where.ops[int(name[4:])] = new  # type: ignore[attr-defined]
    else:
        setattr(where, name.partition(":")[0], new)
    return f"{before}  →  {ast.unparse(where)}", -1


def put_in(module: ModuleType, tree: ast.Module) -> None:
    """Give a loaded module's functions the changed code, wherever they were imported to."""
    changed: dict[str, CodeType] = {}

    def collect(code: CodeType) -> None:
        for item in code.co_consts:
            if isinstance(item, CodeType):
                changed[item.co_qualname] = item
                collect(item)

    whole = compile(ast.fix_missing_locations(tree), str(module.__file__), "exec")
    collect(whole)
    for function in _functions(module):
        function.__code__ = changed[function.__code__.co_qualname]
    fresh = ModuleType(module.__name__)
    fresh.__dict__["__file__"] = module.__file__
    before = sys.modules[module.__name__]
    sys.modules[module.__name__] = fresh  # dataclasses look their own module up
    exec(whole, fresh.__dict__)
    sys.modules[module.__name__] = before
    for name, value in vars(fresh).items():
        old = vars(module).get(name)
        if isinstance(value, int | float | dict | np.ndarray) and not name.startswith("__"):
            module.__dict__[name] = value
        elif isinstance(value, type) and isinstance(old, type) and old.__module__ == fresh.__name__:
            value, old = vars(value).get("__init__"), vars(old).get("__init__")
        if isinstance(value, FunctionType) and isinstance(old, FunctionType):
            old.__defaults__ = value.__defaults__


def _functions(module: ModuleType) -> Iterator[FunctionType]:
    for value in vars(module).values():
        members = list(vars(value).values()) if isinstance(value, type) else [value]
        for member in members:
            inner = getattr(member, "fget", None) or getattr(member, "__func__", member)
            if isinstance(inner, FunctionType) and inner.__code__.co_filename == module.__file__:
                yield inner


class Runner:
    """Takes the place of pytest's loop over tests."""

    def __init__(self, module: str):
        self.module = module

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run all tests as they are, then all mutants in forks."""
        items = session.items
        if not all_pass(items):
            print("the tests fail without any change")
            return True
        module = importlib.import_module(self.module)
        noticed, survived = 0, []
        for mutant in mutants(Path(str(module.__file__)).read_text(encoding="utf-8")):
            child = os.fork()
            if child == 0:
                signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST_S)
                verdict = 1
                try:
                    put_in(module, mutant.tree)
                    verdict = 0 if all_pass(items) else 1
                finally:
                    os._exit(verdict)
            if os.waitpid(child, 0)[1]:
                noticed += 1
            else:
                survived.append(mutant)
                print(f"survived, line {mutant.line}: {mutant.what}", flush=True)
        count = noticed + len(survived)
        print(f"{self.module}: {noticed} of {count} mutants noticed ({noticed / count:.0%})")
        return True


def all_pass(items: list[pytest.Item]) -> bool:
    """Whether all tests pass, up to the first that does not; what they share is kept.

    Pytest ends what the next test does not need: after the last one the first is named as next.
    """
    from _pytest.runner import runtestprotocol

    for item, following in zip(items, [*items[1:], items[0]], strict=True):
        reports = runtestprotocol(item, nextitem=following, log=False)
        if not all(report.passed for report in reports):
            print("".join(report.longreprtext[-2000:] for report in reports), file=sys.stderr)
            return False
    return True


def main(arguments: list[str]) -> int:
    """Score one module by the tests named after it."""
    module, *tests = arguments
    options = ["-q", "-p", "no:cacheprovider", "-W", "default", *tests]
    return int(pytest.main(options, plugins=[Runner(module)]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
