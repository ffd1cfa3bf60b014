"""Imports go down only, and heavy libraries are imported where they are used."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ("inputs", "model", "postprocess")
FILES = sorted(path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py"))
FORBIDDEN = {
    "inputs": ("wellring.model", "wellring.postprocess"),
    "postprocess": ("wellring.model",),
    "model": (),
}
ROOMS = {
    "inputs": ("basics", "site", "logs", "geodata", "measured"),
    "postprocess": (
        *("run", "settlement", "water", "neighbours", "travel", "stability", "operation", "gis"),
        *("comparison", "figures", "report"),
    ),
    "model": (
        *("geology", "grid", "drainage", "limits", "layouts", "mf6", "runs", "outage", "studies"),
        "commands",
    ),
}
"""Sub-folders, each of which imports only those before it. Modules at the top of a folder gather
what the sub-folders give, and may be imported by them (`stage_results`, `answers`)."""
HEAVY = (
    "flopy",
    "geopandas",
    "matplotlib",
    "pandas",
    "pint",
    "rasterio",
    "scipy",
    "xarray",
)


def module_of(path: Path) -> str:
    """The dotted name of a file: inputs/basics/faults.py is wellring.inputs.basics.faults."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(["wellring", *(part for part in parts if part != "__init__")])


def imported(node: ast.AST, package: str) -> Iterator[str]:
    """Absolute names that one node imports; `package` is where relative ones start."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        base = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
        origin = ".".join([*base, *([node.module] if node.module else [])])
        yield origin
        yield from (f"{origin}.{alias.name}" for alias in node.names)
    elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
        called = ast.unparse(node.func).rsplit(".", 1)[-1]
        if called in {"import_module", "__import__"}:
            yield str(node.args[0].value)


def all_imports(tree: ast.Module, package: str) -> set[str]:
    """Every import of a file, wherever it stands."""
    return {name for node in ast.walk(tree) for name in imported(node, package)}


def imports_on_loading(tree: ast.Module, package: str) -> set[str]:
    """The imports that run when the file is loaded: not those in functions or for types only."""
    found: set[str] = set()
    waiting: list[ast.AST] = list(tree.body)
    while waiting:
        node = waiting.pop()
        found.update(imported(node, package))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            waiting.extend([*node.decorator_list, node.args])
        elif isinstance(node, ast.Lambda):
            continue
        elif isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            waiting.extend(node.orelse)
        else:
            waiting.extend(ast.iter_child_nodes(node))
    return found


def within(names: set[str], roots: tuple[str, ...]) -> list[str]:
    """The names that are one of `roots` or lie inside one."""
    return sorted(n for n in names if any(n == root or n.startswith(f"{root}.") for root in roots))


def parsed(path: Path) -> tuple[ast.Module, str]:
    module = module_of(path)
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    return ast.parse(path.read_text(encoding="utf-8"), str(path)), package


def test_every_layer_has_files() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in FILES} == set(FOLDERS)


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_imports_go_down_only(path: Path) -> None:
    layer = path.relative_to(ROOT).parts[0]
    assert within(all_imports(*parsed(path)), FORBIDDEN[layer]) == []


def test_every_room_has_its_place() -> None:
    rooms = {
        (path.relative_to(ROOT).parts[:2]) for path in FILES if path.parent.name not in FOLDERS
    }
    assert rooms == {(folder, room) for folder, names in ROOMS.items() for room in names}


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_rooms_import_only_those_before_them(path: Path) -> None:
    folder, room, *inside = path.relative_to(ROOT).parts
    if not inside:
        return
    later = ROOMS[folder][ROOMS[folder].index(room) + 1 :]
    above = tuple(f"wellring.{folder}.{name}" for name in later)
    assert within(all_imports(*parsed(path)), above) == []


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_heavy_libraries_are_not_imported_on_loading(path: Path) -> None:
    assert within(imports_on_loading(*parsed(path)), HEAVY) == []


@pytest.mark.parametrize(
    "line",
    [
        "import wellring.model",
        "from wellring import model",
        "from wellring.model.mf6.solver import find_solver",
        "from ..model import solver",
        "from .. import model",
        "def f():\n    import wellring.model.commands.cli as c",
        "import importlib\nimportlib.import_module('wellring.model.commands.cli')",
    ],
)
def test_an_import_upwards_is_seen(line: str) -> None:
    names = all_imports(ast.parse(line), "wellring.postprocess")
    assert within(names, FORBIDDEN["postprocess"])


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("import scipy.stats", True),
        ("from pandas import DataFrame", True),
        ("try:\n    import flopy\nexcept ImportError:\n    flopy = None", True),
        ("class A:\n    import pint", True),
        ("if TYPE_CHECKING:\n    x = 1\nelse:\n    import pint", True),
        ("def f(x=__import__('pint')):\n    return x", True),
        ("if TYPE_CHECKING:\n    import pandas", False),
        ("def f():\n    import matplotlib.pyplot", False),
        ("import scipy_like, numpy, shapely", False),
    ],
)
def test_a_heavy_import_on_loading_is_seen(text: str, seen: bool) -> None:
    assert bool(within(imports_on_loading(ast.parse(text), "wellring.inputs"), HEAVY)) is seen


def test_command_line_loads_no_heavy_library(tmp_path: Path) -> None:
    question = "import sys, wellring.model.commands.cli; print(*sys.modules, sep='\\n')"
    done = subprocess.run(
        [sys.executable, "-c", question], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    loaded = set(done.stdout.split())
    assert "wellring.model.commands.cli" in loaded
    assert within(loaded, HEAVY) == []


def test_version_loads_no_heavy_library(tmp_path: Path) -> None:
    question = (
        "import atexit, sys\n"
        "atexit.register(lambda: print(*sys.modules, sep='\\n'))\n"
        "sys.argv = ['wellring', '--version']\n"
        "from wellring.model.commands.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", question], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    loaded = set(done.stdout.split())
    assert "wellring.model.mf6.solver" in loaded
    assert within(loaded, (*HEAVY, "numpy")) == []


def test_help_loads_few_modules(tmp_path: Path) -> None:
    """161 when this was written, in 0.1 s of CPU; numpy alone would double them."""
    question = (
        "import atexit, sys\n"
        "atexit.register(lambda: print(len(sys.modules), file=sys.stderr))\n"
        "sys.argv = ['wellring', '--help']\n"
        "from wellring.model.commands.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", question], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert 50 < int(done.stderr) < 240
