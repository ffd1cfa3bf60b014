"""Runs that are killed, stopped, or meet another run: nothing half-finished looks finished.

A run counts as finished when its folder has its final name and a run.json that says so.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from process_groups import begin_command, group_lives

from wellring.model.runs.result_folders import fresh_folder, put_in_place

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")

KILLS = 6
ANSWERS = "six wells/answers.json"


def begin(site: Path, solver: Any, out: Path | None = None) -> subprocess.Popen[str]:
    """Start a run in a process group of its own."""
    arguments = ["run", str(site), "--no-figures", "--no-side-studies"]
    return begin_command([*arguments, *(["--out", str(out)] if out else [])], solver)


def end(process: subprocess.Popen[str]) -> tuple[int, str]:
    """Exit code and what was said on stderr."""
    _, said = process.communicate(timeout=120)
    return process.returncode, said


def finished(runs: Path) -> list[str]:
    """Names of folders that a reader would take for finished runs."""
    found = []
    for file in runs.glob("*/run.json"):
        if not file.parent.name.startswith("."):
            assert json.loads(file.read_text(encoding="utf-8"))["finished"] is True
            found.append(file.parent.name)
    return found


def hidden(runs: Path) -> list[str]:
    return [item.name for item in runs.iterdir() if item.name.startswith(".")]


def answers(runs: Path) -> dict[str, Any]:
    return json.loads((runs / ANSWERS).read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def small(start_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site file of the start site on a coarse grid."""
    folder = tmp_path_factory.mktemp("killed") / "site"
    shutil.copytree(start_folder, folder)
    with (folder / "site.toml").open("a", encoding="utf-8") as file:
        file.write("\n[grid]\ncell = 3\nsublayer = 2\ngrowth = 1.8\nlargest = 60\n")
    return folder / "site.toml"


@pytest.fixture(scope="module")
def undisturbed(
    small: Path, solver: Any, tmp_path_factory: pytest.TempPathFactory
) -> tuple[dict[str, Any], float, float]:
    """Answers of a run left alone, when its folder appeared and how long it took [s]."""
    runs = tmp_path_factory.mktemp("undisturbed")
    began = time.perf_counter()
    process = begin(small, solver, runs)
    appeared = wait_for(process, runs)
    code, said = end(process)
    assert code == 0, said
    return answers(runs), appeared - began, time.perf_counter() - began


def wait_for(process: subprocess.Popen[str], runs: Path, pattern: str = ".*.partial-*") -> float:
    """Wait until something of that name stands in `runs`; the time of it."""
    deadline = time.monotonic() + 60
    while not list(runs.glob(pattern)):
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline
        time.sleep(0.005)
    return time.perf_counter()


def test_killed_at_any_moment(
    small: Path, solver: Any, undisturbed: tuple[dict[str, Any], float, float], tmp_path: Path
) -> None:
    """Killed from before the first file to after the last."""
    expected, appears, whole = undisturbed
    rng = random.Random(6)
    runs = tmp_path / "runs"
    runs.mkdir()
    left_hidden = 0
    for number in range(KILLS):
        process = begin(small, solver, runs)
        # One early, the others spread over the stretch in which files are written.
        span = (0.0, appears) if number == 0 else (appears, whole)
        share = (number - 1 + rng.random()) / (KILLS - 1) if number else rng.random()
        time.sleep(span[0] + share * (span[1] - span[0]))
        process.kill()
        end(process)
        left_hidden += bool(hidden(runs))
        assert finished(runs) in ([], ["six wells"])
        if finished(runs):
            assert answers(runs) == expected
            shutil.rmtree(runs / "six wells")
    assert left_hidden >= 2
    code, said = end(begin(small, solver, runs))
    assert code == 0, said
    assert finished(runs) == ["six wells"]
    assert answers(runs) == expected
    assert hidden(runs) == []


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks processes up in /proc")
@pytest.mark.parametrize("command", ["run", "compare", "vary", "vary in processes"])
def test_killed_it_leaves_no_solver_at_work(
    command: str, small: Path, solver: Any, tmp_path: Path
) -> None:
    """SIGKILL to the command alone, with its real solver held still so that it cannot end itself.

    A study's solvers are started by threads or by processes of its own, which have to end too.
    """
    site = Path(shutil.copytree(small.parent, tmp_path / "site")) / small.name
    arguments = [command.split()[0], str(site), "--no-figures"]
    if command.startswith("vary"):
        with site.open("a", encoding="utf-8") as file:
            file.write(VARIED)
        arguments += ["--workers", "5" if command.endswith("processes") else "2"]
    process = begin_command(arguments, solver)
    # The base case of a study is solved before its workers begin.
    solvers = solvers_held_still(process, solver, ".work-" if "vary" in command else ".partial-")
    own = parent_of(solvers[0]) == process.pid
    assert own == (command in ("run", "vary"))
    process.kill()
    end(process)
    deadline = time.monotonic() + 60
    while group_lives(process) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not any(Path(f"/proc/{number}").exists() for number in solvers)
    assert not group_lives(process)


VARIED = """
[vary]
runs = 40
[[vary.parameters]]
path = "soils.sand.kh"
factor = [0.5, 2.0]
"""


def solvers_held_still(process: subprocess.Popen[str], solver: Any, where: str) -> list[int]:
    """A solver that a command has started, stopped by SIGSTOP, which only SIGKILL ends.

    `where` is a part of the path of the folder it works in.
    """
    deadline = time.monotonic() + 120
    while time.monotonic() < deadline:
        assert process.poll() is None, process.communicate()
        for place in Path("/proc").glob("[0-9]*"):
            number = int(place.name)
            try:
                ours = os.getpgid(number) == process.pid
                if not ours or (place / "exe").resolve() != Path(solver.path).resolve():
                    continue
                if where not in str((place / "cwd").resolve()):
                    continue
                os.kill(number, signal.SIGSTOP)
            except OSError:  # it has just ended
                continue
            time.sleep(0.05)
            with contextlib.suppress(OSError, IndexError):
                if (place / "stat").read_text().rpartition(")")[2].split()[0] == "T":
                    return [number]
        time.sleep(0.002)
    raise AssertionError("no solver was seen at work")


def parent_of(process: int) -> int:
    return int(Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[1])


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM], ids=lambda item: item.name)
def test_stopped_politely(stop: signal.Signals, small: Path, solver: Any, tmp_path: Path) -> None:
    """Ctrl-C and a polite kill: a message, no traceback, no leftovers, no solver left running."""
    slow = tmp_path / "mf6"
    slow.write_text(
        f"#!/bin/sh\n[ \"$1\" = --version ] && exec '{solver.path}' --version\n"
        "touch at_work.txt\nexec sleep 30\n"
    )
    slow.chmod(0o755)
    runs = tmp_path / "runs"
    runs.mkdir()

    class Slow:
        path = slow

    process = begin(small, Slow, runs)
    wait_for(process, runs, ".*.partial-*/mf6/*/at_work.txt")
    process.send_signal(stop)
    code, said = end(process)
    assert code == 130
    assert "Traceback" not in said
    assert "Stopped. Nothing half-finished was left" in said
    assert list(runs.iterdir()) == []
    assert not group_lives(process)


def test_two_runs_at_once(
    small: Path, solver: Any, undisturbed: tuple[dict[str, Any], float, float], tmp_path: Path
) -> None:
    """Both into the same folder: both end well, and what stands there is whole."""
    runs = tmp_path / "runs"
    both = [begin(small, solver, runs), begin(small, solver, runs)]
    for process in both:
        code, said = end(process)
        assert code == 0, said
    assert finished(runs) == ["six wells"]
    assert answers(runs) == undisturbed[0]
    assert hidden(runs) == []


# ---- the moment of the renaming, step by step ----


def _result(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True)
    (folder / "run.json").write_text(text)
    return folder


def _number_of_no_process() -> int:
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    return process.pid


def test_old_result_comes_back_when_the_renaming_was_cut(tmp_path: Path) -> None:
    """Killed after the old result was set aside and before the new one stood in its place."""
    dead = _number_of_no_process()
    _result(tmp_path / f".six wells.old-{dead}", "old")
    _result(tmp_path / f".six wells.partial-{dead}", "new")
    partial = fresh_folder(tmp_path, "six wells")
    assert (tmp_path / "six wells" / "run.json").read_text() == "old"
    assert sorted(item.name for item in tmp_path.iterdir()) == [partial.name, "six wells"]


def test_old_result_goes_when_the_new_one_stands(tmp_path: Path) -> None:
    dead = _number_of_no_process()
    _result(tmp_path / f".six wells.old-{dead}", "old")
    _result(tmp_path / "six wells", "new")
    fresh_folder(tmp_path, "six wells")
    assert (tmp_path / "six wells" / "run.json").read_text() == "new"
    assert not (tmp_path / f".six wells.old-{dead}").exists()


def test_folders_of_living_runs_and_other_schemes_stay(tmp_path: Path) -> None:
    dead = _number_of_no_process()
    living = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    try:
        kept = {
            _result(tmp_path / f".six wells.partial-{living.pid}", "at work"),
            _result(tmp_path / f".six.partial-{dead}", "another scheme's"),
            _result(tmp_path / ".six wells.partial-notes", "the user's"),
        }
        fresh_folder(tmp_path, "six wells")
        assert all(folder.exists() for folder in kept)
    finally:
        living.communicate(b"\n")


def test_names_with_pattern_letters_touch_no_other_folder(tmp_path: Path) -> None:
    dead = _number_of_no_process()
    other = _result(tmp_path / f".a.partial-{dead}", "another scheme's")
    fresh_folder(tmp_path, "[ab]")
    assert other.exists()


def test_result_is_replaced_whole(tmp_path: Path) -> None:
    _result(tmp_path / "six wells", "old")
    (tmp_path / "six wells" / "only in the old.txt").touch()
    partial = _result(tmp_path / f".six wells.partial-{os.getpid()}", "new")
    put_in_place(partial, tmp_path / "six wells")
    assert [item.name for item in (tmp_path / "six wells").iterdir()] == ["run.json"]
    assert [item.name for item in tmp_path.iterdir()] == ["six wells"]
