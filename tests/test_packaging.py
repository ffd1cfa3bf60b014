"""The wheel and the source archive hold wellring and nothing else, and work once installed."""

import ast
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path, PurePosixPath

import pytest

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ("inputs", "model", "postprocess")
LEFT_BEHIND = shutil.ignore_patterns(
    "__pycache__", ".*", "build", "dist", "*.egg-info", "*.runs", "tests", "examples"
)


def source_files() -> set[str]:
    """Every file of the three folders, relative to the root, with forward slashes."""
    return {
        path.relative_to(ROOT).as_posix()
        for folder in FOLDERS
        for path in (ROOT / folder).rglob("*")
        if path.is_file()
        and "__pycache__" not in path.parts
        and not any(part.startswith(".") for part in path.relative_to(ROOT).parts)
    }


def run(*command: str | Path, cwd: Path) -> str:
    """Run a command without this session's Python settings; its output, or a failed test."""
    surroundings = {name: text for name, text in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(command, cwd=cwd, env=surroundings, capture_output=True, text=True)
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout.strip()


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the source archive of a clean copy, and the wheel built from that archive."""
    folder = tmp_path_factory.mktemp("built")
    # A build in the tree itself would take along what an earlier one left in build/.
    shutil.copytree(ROOT, folder / "copy", ignore=LEFT_BEHIND)
    run(sys.executable, "-m", "build", "--outdir", folder, folder / "copy", cwd=folder)
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    (found,) = built.glob("wellring-*.whl")
    return found


def test_listed_packages_are_the_folders_on_disk() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    listed = settings["tool"]["setuptools"]["packages"]
    folders = settings["tool"]["setuptools"]["package-dir"]
    on_disk = {str(PurePosixPath(name).parent) for name in source_files() if name.endswith(".py")}
    assert sorted(listed) == sorted(folders)
    assert sorted(folders.values()) == sorted(on_disk)
    assert all(name == f"wellring.{folders[name].replace('/', '.')}" for name in listed)


EXTRAS = {"distributed"}
"""Imported only where asked for, with a message where it is missing."""


def test_what_is_imported_at_run_time_is_a_dependency() -> None:
    """Tests run with the extras installed, so only this and CI's bare environment see a gap."""
    from importlib.metadata import packages_distributions

    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = {
        re.split(r"[<>=\[ ]", text)[0].lower().replace("_", "-")
        for text in settings["project"]["dependencies"]
    }
    imported = set()
    for name in source_files():
        if name.endswith(".py"):
            for node in ast.walk(ast.parse((ROOT / name).read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    imported |= {alias.name.split(".")[0] for alias in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                    imported.add(node.module.split(".")[0])
    others = imported - set(sys.stdlib_module_names) - {"wellring", *EXTRAS}
    assert {"flopy", "pyogrio"} <= others  # at the top of a file, and inside a function
    dists = packages_distributions()
    for module in sorted(others):
        known = {name.lower().replace("_", "-") for name in dists.get(module, [module])}
        assert known & wanted, f"{module} is imported, and not among the dependencies"


def test_wheel_holds_every_file_under_wellring_and_nothing_else(wheel: Path) -> None:
    names = {name for name in zipfile.ZipFile(wheel).namelist() if not name.endswith("/")}
    tops = {name.split("/")[0] for name in names}
    assert tops == {"wellring", f"{wheel.name.removesuffix('-py3-none-any.whl')}.dist-info"}
    held = {name for name in names if name.startswith("wellring/")}
    assert held == {f"wellring/{name}" for name in source_files()}


def test_source_archive_holds_what_a_build_needs(built: Path) -> None:
    (archive,) = built.glob("wellring-*.tar.gz")
    top = archive.name.removesuffix(".tar.gz")
    with tarfile.open(archive) as opened:
        held = set(opened.getnames())
    wanted = source_files() | {"pyproject.toml", "README.md", "LICENSE"}
    assert {f"{top}/{name}" for name in wanted} <= held


def test_installed_wheel_imports_from_where_it_was_put(wheel: Path, tmp_path: Path) -> None:
    target, elsewhere = tmp_path / "installed", tmp_path / "elsewhere"
    elsewhere.mkdir()
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"]
    run(*pip, "--target", target, wheel, cwd=elsewhere)
    # -S: neither the editable install nor anything else of this environment can help out.
    question = (
        f"import sys; sys.path.insert(0, {str(target)!r});"
        "import wellring.inputs.basics.faults as f;"
        "print(f.__file__); print(f.Fault('a', 'b', 'c', 'd'))"
    )
    where, fault = run(sys.executable, "-S", "-c", question, cwd=elsewhere).splitlines()
    assert Path(where) == target / "wellring" / "inputs" / "basics" / "faults.py"
    assert fault == "a: b is 'c'; expected d"
    assert {path.name for path in target.iterdir() if not path.name.endswith(".dist-info")} == {
        "wellring",
        "bin",
    }


def test_editable_install_imports_from_the_tree(built: Path, tmp_path: Path) -> None:
    environment = tmp_path / "environment"
    run(sys.executable, "-m", "venv", "--without-pip", environment, cwd=tmp_path)
    python = environment / ("Scripts" if os.name == "nt" else "bin") / "python"
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps"]
    run(*pip, "--editable", built / "copy", cwd=tmp_path)
    question = "import wellring.inputs.basics.faults as f; print(f.__file__)"
    where = run(python, "-c", question, cwd=tmp_path)
    assert Path(where) == built / "copy" / "inputs" / "basics" / "faults.py"
