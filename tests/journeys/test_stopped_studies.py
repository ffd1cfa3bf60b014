"""Ctrl-C and a polite kill at random moments of the commands that solve many cases.

Each time: a message and no traceback, no solver left running, no file in the results that is cut
short, and the same command afterwards ends as if it had never been stopped.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from process_groups import begin_command, group_lives

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")

STOPS = (signal.SIGINT, signal.SIGTERM)
COMMANDS = {
    "compare": ["--no-figures"],
    "vary": ["--no-figures"],
    "size": ["--no-figures"],
    "outage": ["--scheme", "six wells"],
}
STOPPED = 130
MORE = """
[grid]
cell = 4
sublayer = 4
growth = 2.0
largest = 60

[vary]
design = "random"
runs = 5
seed = 1
[[vary.parameters]]
path = "soils.sand.kh"
spread = 2.0
"""


def begin(command: str, site: Path, solver: Any) -> subprocess.Popen[str]:
    """Start a command in a process group of its own."""
    arguments = [command, str(site), *COMMANDS[command]]
    return begin_command(arguments, solver, subprocess.DEVNULL)


def whole(folder: Path) -> None:
    """Every result that a reader would open is whole: JSON parses, pages and tables end."""
    for path in folder.rglob("*"):
        if path.is_dir() or any(part.startswith(".") for part in path.relative_to(folder).parts):
            continue
        if path.suffix == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        elif path.suffix == ".html":
            assert path.read_text(encoding="utf-8").rstrip().endswith("</html>"), path
        elif path.suffix == ".csv":
            assert path.read_text(encoding="utf-8").endswith("\n"), path


@pytest.fixture
def site(start_folder: Path, tmp_path: Path) -> Path:
    """The site file of the start site on a coarse grid, with values to vary."""
    folder = Path(shutil.copytree(start_folder, tmp_path / "site"))
    with (folder / "site.toml").open("a", encoding="utf-8") as file:
        file.write(MORE)
    return folder / "site.toml"


def stop_at(command: str, site: Path, solver: Any, when: float, stop: signal.Signals) -> int:
    """Stop a command after so many seconds; its exit code. All but the ending is judged here."""
    process = begin(command, site, solver)
    try:
        process.wait(timeout=when)
    except subprocess.TimeoutExpired:
        process.send_signal(stop)
    _, said = process.communicate(timeout=120)
    place = f"{command}, {stop.name} after {when:.2f} s: {said}"
    assert "Traceback" not in said, place
    deadline = time.monotonic() + 20
    while group_lives(process) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert not group_lives(process), place
    whole(site.parent)
    return process.returncode


def stopped_and_taken_up(command: str, site: Path, solver: Any, stops: int, seed: int) -> None:
    """Stop a command so many times, from its imports to its last file; then let it end."""
    untouched = Path(shutil.copytree(site.parent, site.parent.with_name("untouched")))
    began = time.monotonic()
    expected = stop_at(command, untouched / site.name, solver, 600.0, signal.SIGINT)
    took = time.monotonic() - began
    assert expected in (0, 1)
    chance = random.Random(seed)
    for number in range(stops):
        when = chance.uniform(0.02, 1.0) * took
        code = stop_at(command, site, solver, when, STOPS[number % 2])
        # Before Python has our handlers up, the system's own answer to the signal stands.
        assert code in (STOPPED, expected, -signal.SIGINT, -signal.SIGTERM)
    assert stop_at(command, site, solver, 600.0, signal.SIGINT) == expected


@pytest.mark.parametrize("command", ["compare", "vary"])
def test_stopped_twice(command: str, site: Path, solver: Any) -> None:
    stopped_and_taken_up(command, site, solver, stops=2, seed=3)


@pytest.mark.parametrize("stop", STOPS)
def test_a_stopped_study_says_what_it_kept(stop: signal.Signals, site: Path, solver: Any) -> None:
    """And when it is taken up again none of these is solved anew."""
    variants = site.with_name("site.vary") / "variants"
    process = begin("vary", site, solver)
    deadline = time.monotonic() + 120
    while len(kept(variants)) < 3 and time.monotonic() < deadline:
        time.sleep(0.05)
    process.send_signal(stop)
    _, said = process.communicate(timeout=120)
    assert process.returncode == STOPPED, said
    told = re.search(r"Stopped\..* (\d) of 5 variants are kept in .*variants: the same", said)
    assert told, said
    before = kept(variants)
    assert len(before) in (int(told[1]), int(told[1]) + 1)  # and the base case beside them
    process = begin("vary", site, solver)
    _, said = process.communicate(timeout=300)
    assert process.returncode in (0, 1), said
    assert f"variant {told[1]} of 5, {told[1]} were there before" in said
    after = kept(variants)
    assert {name: after[name] for name in before} == before


def kept(variants: Path) -> dict[str, int]:
    """The variants that are there, and when each was written."""
    return {
        path.name: path.stat().st_mtime_ns
        for path in variants.glob("*")
        if not path.name.startswith(".")
    }


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
def test_stopped_twelve_times(command: str, site: Path, solver: Any) -> None:
    stopped_and_taken_up(command, site, solver, stops=12, seed=7)
