"""What the machine does to a run: a full disk, a solver that dies or lies, a clock that jumps.

Each with the real thing: a small file system, a limit of the system, the real MODFLOW 6 behind a
script that spoils one thing. A run ends well or with a message and an exit code; nothing that
looks finished is half-finished, and what stood there before still stands.
"""

from __future__ import annotations

import gc
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX scripts and limits")

SCHEME = "six wells"
FULL = "No space left|File too large|disk may be full|MODFLOW 6 gave no answer"
GRID = "\n[grid]\ncell = 4\nsublayer = 4\ngrowth = 2.0\nlargest = 60\n"

Start = Callable[..., tuple[int, str]]


@pytest.fixture(scope="module")
def small(start_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site file of the start site on a coarse grid."""
    folder = tmp_path_factory.mktemp("faults") / "site"
    shutil.copytree(start_folder, folder)
    with (folder / "site.toml").open("a", encoding="utf-8") as file:
        file.write(GRID)
    return folder / "site.toml"


@pytest.fixture(scope="module")
def start(small: Path, solver: Any) -> Start:
    """Run the small site as a process; its exit code and what it said on stderr."""

    def run(out: Path, program: Path | None = None, **keys: Any) -> tuple[int, str]:
        command = [sys.executable, "-m", "wellring.model.commands.cli", "run", str(small)]
        command += ["--no-figures", "--no-side-studies", "--out", str(out)]
        command += ["--solver", str(program or solver.path)]
        done = subprocess.run(
            command, capture_output=True, encoding="utf-8", timeout=300, check=False, **keys
        )
        assert "Traceback" not in done.stderr, done.stderr
        return done.returncode, done.stderr

    return run


@pytest.fixture(scope="module")
def start_here(small: Path, wellring: Any) -> Start:
    """The same in this process: quicker, and a traceback is raised."""

    def run(out: Path, program: Path) -> tuple[int, str]:
        options = ("--no-figures", "--no-side-studies", "--out", out, "--solver", program)
        done = wellring("run", small, *options)
        return done.code, done.err

    return run


@pytest.fixture(scope="module")
def undisturbed(start: Start, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run left alone."""
    runs = tmp_path_factory.mktemp("undisturbed")
    code, said = start(runs)
    assert code == 0, said
    return runs / SCHEME


@pytest.fixture
def spoiling(solver: Any, tmp_path: Path) -> Callable[[str], Path]:
    """A solver that is the real one with some lines of shell before and after it."""

    def made(body: str) -> Path:
        path = tmp_path / "solver" / "mf6"
        path.parent.mkdir()
        path.write_text(
            f"#!/bin/sh\nreal='{solver.path}'\nhere='{path.parent}'\n"
            f'[ "$1" = --version ] && exec "$real" --version\n{body}\n'
        )
        path.chmod(0o755)
        return path

    return made


def answers(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "answers.json").read_text(encoding="utf-8"))


def nothing_finished(runs: Path) -> None:
    """No folder that a reader would take for a finished run, and no hidden leftovers."""
    for folder in runs.iterdir():
        assert folder.name.endswith(".failed"), folder
        state = folder / "run.json"
        assert not state.exists() or not json.loads(state.read_text())["finished"]


# ---- no room ------------------------------------------------------------------------------------


@pytest.fixture
def file_system(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """A file system of its own with the options of mount; it goes with the test."""
    mounted: list[Path] = []

    def made(options: str) -> Path:
        place = tmp_path / f"disk {len(mounted)}"
        place.mkdir()
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)],
            capture_output=True,
            check=False,
        )
        if done.returncode:
            pytest.skip("needs the right to mount a file system")
        mounted.append(place)
        return place

    if shutil.which("mount") is None:
        pytest.skip("needs mount")
    yield made
    for place in mounted:
        subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk(file_system: Callable[[str], Path], undisturbed: Path, start: Start) -> None:
    """From one on which nothing fits to one on which nearly all of a run does."""
    needed = sum(item.stat().st_size for item in undisturbed.rglob("*") if item.is_file())
    for share in (0.0, 0.5, 0.9):
        disk = file_system(f"size={max(4096, int(share * needed))}")
        code, said = start(disk / "runs")
        assert code in (2, 3), said
        assert re.search(FULL, said), said
        if (disk / "runs").exists():
            nothing_finished(disk / "runs")


def test_a_full_disk_leaves_the_old_run(
    file_system: Callable[[str], Path], undisturbed: Path, start: Start
) -> None:
    """A second run finds room for half of itself beside the first."""
    needed = sum(
        -(-item.stat().st_size // 4096) * 4096 for item in undisturbed.rglob("*") if item.is_file()
    )
    disk = file_system(f"size={int(1.5 * needed) + 200_000}")
    shutil.copytree(undisturbed, disk / SCHEME)
    code, said = start(disk)
    assert code in (2, 3), said
    assert answers(disk / SCHEME) == answers(undisturbed)
    assert [item.name for item in disk.iterdir() if item.name.startswith(".")] == []


def test_a_disk_that_can_only_be_read(file_system: Callable[[str], Path], start: Start) -> None:
    disk = file_system("size=1m,ro")
    code, said = start(disk / "runs")
    assert code == 2
    assert "Read-only file system" in said
    assert "--out" in said


@pytest.mark.parametrize("largest", [0, 20_000])
def test_files_may_not_grow(largest: int, start: Start, tmp_path: Path) -> None:
    """The system's limit on a file's size: the tool's own writing fails, or the solver dies."""
    code, said = start(
        tmp_path / "runs",
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (largest, largest)),
    )
    assert code in (2, 3), said
    assert re.search(FULL, said), said
    if (tmp_path / "runs").exists():
        nothing_finished(tmp_path / "runs")


# ---- the solver ---------------------------------------------------------------------------------


def test_a_solver_that_is_killed_once(
    spoiling: Callable[[str], Path], start_here: Start, undisturbed: Path, tmp_path: Path
) -> None:
    """As by a system short of memory: the next way is tried, and the attempt is told."""
    program = spoiling(
        '[ -e "$here/killed" ] || { touch "$here/killed"; kill -9 $$; }\nexec "$real"'
    )
    code, said = start_here(tmp_path / "runs", program)
    assert code == 0, said
    state = json.loads((tmp_path / "runs" / SCHEME / "run.json").read_text())
    first = state["stages"][0]["attempts"][0]
    assert not first["answered"]
    assert "killed by signal 9" in first["why"]
    found, expected = answers(tmp_path / "runs" / SCHEME), answers(undisturbed)
    assert found.keys() == expected.keys()
    for name, answer in expected.items():
        if answer["unit"] == "m" and isinstance(answer["value"], float):
            assert found[name]["value"] == pytest.approx(answer["value"], abs=2e-3), name


def test_a_solver_that_is_always_killed(
    spoiling: Callable[[str], Path], start_here: Start, tmp_path: Path
) -> None:
    code, said = start_here(tmp_path / "runs", spoiling("kill -9 $$"))
    assert code == 3
    assert "killed by signal 9" in said
    assert "six wells.failed" in said
    nothing_finished(tmp_path / "runs")


def test_a_solver_that_goes_missing(
    spoiling: Callable[[str], Path], start_here: Start, tmp_path: Path
) -> None:
    """Removed after the first stage, as when a drive is taken away."""
    code, said = start_here(tmp_path / "runs", spoiling('rm -- "$0"\nexec "$real"'))
    assert code == 3
    assert "could not be started any more" in said
    assert list((tmp_path / "runs").iterdir()) == []


SPOILT = {
    "heads cut short": "head -c 100 gwf.hds > x; mv x gwf.hds",
    "budget of noise": "head -c 5000 /dev/urandom > gwf.bud",
    "no record of wells": "rm -f wells.csv",
}
"""Every other way in tests/model/mf6/test_solver_output.py."""


# flopy leaves a file open that it could not read.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
@pytest.mark.parametrize("kind", SPOILT)
def test_a_solver_that_lies(
    kind: str, spoiling: Callable[[str], Path], start_here: Start, tmp_path: Path
) -> None:
    """It ends normally, and what it wrote is spoilt: no answer is made of it."""
    program = spoiling(f'"$real" || exit $?\n{SPOILT[kind]}\nexit 0')
    code, said = start_here(tmp_path / "runs", program)
    assert code == 3, said
    assert "what it wrote cannot be read" in said
    nothing_finished(tmp_path / "runs")
    gc.collect()


# ---- the clock ----------------------------------------------------------------------------------


def test_a_clock_that_jumps(
    small: Path, solver: Any, undisturbed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wall clock set back and forth by up to a year at every look: nothing hangs on it."""
    from wellring.model.runs.run import run

    chance, true = random.Random(3), time.time
    monkeypatch.setattr(time, "time", lambda: true() + chance.uniform(-3e7, 3e7))
    done = run(small, out=tmp_path / "runs", solver=solver.path, figures=False, side_studies=False)[
        0
    ]
    assert done.answers.as_json() == answers(undisturbed)
    assert all(value >= 0 for value in done.reader.provenance["timings"].values())


def test_files_from_the_future_and_the_past(
    small: Path, start: Start, undisturbed: Path, tmp_path: Path
) -> None:
    """A run over one whose files carry dates of tomorrow and of 1970."""
    shutil.copytree(undisturbed, tmp_path / "runs" / SCHEME)
    for number, item in enumerate((tmp_path / "runs").rglob("*")):
        moment = time.time() + 86400 if number % 2 else 0
        os.utime(item, (moment, moment))
    code, said = start(tmp_path / "runs")
    assert code == 0, said
    assert answers(tmp_path / "runs" / SCHEME) == answers(undisturbed)
    assert [item.name for item in (tmp_path / "runs").iterdir()] == [SCHEME]
