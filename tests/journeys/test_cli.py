"""The command line from start to report: exit codes, what goes to which stream, and its files."""

from __future__ import annotations

import html
import importlib.metadata
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

COMMANDS = ("start", "check", "run", "size", "report", "solver")
QUICK = ("--no-figures", "--no-side-studies")
PLAIN = ("value", "unit", "limit", "ok")
"""Keys of an answer that hold numbers; the others are words, which may name units."""


def numbers(answers: dict[str, Any]) -> dict[str, list[Any]]:
    return {name: [answer[key] for key in PLAIN] for name, answer in answers.items()}


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_an_example(command: str, wellring: Any) -> None:
    done = wellring(command, "--help")
    assert done.code == 0
    assert re.search(rf"Example: wellring {command}", done.out)
    assert done.err == ""


def test_help_names_every_command(wellring: Any) -> None:
    done = wellring("--help")
    assert done.code == 0
    assert all(re.search(rf"^ +{command} ", done.out, re.M) for command in COMMANDS)
    assert "licensed" in done.out


def test_from_start_to_report(tmp_path: Path, wellring_process: Any, wellring: Any) -> None:
    """As a newcomer would: every command from another folder than the site's."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    made = wellring_process("start", "../my site", cwd=elsewhere)
    assert made.code == 0
    assert "wellring run" in made.err
    site = tmp_path / "my site" / "site.toml"
    _coarsen(site)

    checked = wellring_process("check", "../my site/site.toml", cwd=elsewhere)
    assert checked.code == 0, checked.err
    assert "Nothing was run" in checked.out
    drawn = re.findall(r"^  Drawn: (.+)$", checked.out, re.M)
    assert drawn
    assert all((elsewhere / name).stat().st_size > 1000 for name in drawn)

    ran = wellring_process("run", "../my site/site.toml", *QUICK, cwd=elsewhere)
    assert ran.code == 0, ran.err
    assert "water below formation" in ran.out
    assert "Local codes and a licensed engineer decide" in ran.out
    assert "cells in" in ran.err
    assert "cells in 12 layers" not in ran.out
    folder = tmp_path / "my site" / "site.runs" / "six wells"
    stored = json.loads((folder / "answers.json").read_text(encoding="utf-8"))
    assert json.loads((folder / "run.json").read_text(encoding="utf-8"))["finished"] is True
    assert [item.name for item in folder.parent.iterdir()] == ["six wells"]
    assert list(elsewhere.iterdir()) == []

    again = wellring("report", folder, "--no-figures", "--json")
    assert again.code == 0, again.err
    assert json.loads(again.out) == {"six wells": stored}
    assert json.loads((folder / "answers.json").read_text(encoding="utf-8")) == stored

    moved = shutil.move(folder, elsewhere / "handed over")
    told = wellring("report", moved, "--no-figures")
    assert told.code == 0
    assert [row for row in told.out.split("\n") if "Files:" not in row] == [
        row for row in ran.out.split("\n") if "Files:" not in row
    ]


def _coarsen(site: Path) -> None:
    """A grid for tests of the command line, where answers only have to be the same again."""
    with site.open("a", encoding="utf-8") as file:
        file.write("\n[grid]\ncell = 3\nsublayer = 2\ngrowth = 1.8\nlargest = 60\n")


@pytest.fixture(scope="module")
def small(start_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The start site on a coarse grid; copy it before changing it."""
    folder = tmp_path_factory.mktemp("small") / "site"
    shutil.copytree(start_folder, folder)
    _coarsen(folder / "site.toml")
    return folder


@pytest.fixture(scope="module")
def metric(small: Path, wellring_process: Any) -> Any:
    """The small site run with --json."""
    return wellring_process("run", small / "site.toml", *QUICK, "--json")


def test_json_is_alone_on_stdout(metric: Any) -> None:
    assert metric.code == 0
    answers = json.loads(metric.out)["six wells"]
    assert {"value", "unit", "limit", "ok", "basis"} <= set(answers["02-final-dig.dry_margin"])
    assert "cells in" in metric.err


def test_check_as_json(small: Path, wellring: Any) -> None:
    done = wellring("check", small / "site.toml", "--json")
    assert done.code == 0
    told = json.loads(done.out)
    assert told["site"] == "Start here"
    (scheme,) = told["schemes"]
    assert scheme["cells"] > 1000
    assert len(scheme["wells"]) == 6


METRIC = re.compile(r".{0,40}\d ?(?:mm|k?m|m[²³]|m[³3]?/[hs]|L/s)(?![\w/]| per).{0,20}")
"""A length, area, volume, flow or speed in metric units, with the words around it."""


def test_us_units_change_the_words_alone(
    small: Path, tmp_path: Path, metric: Any, wellring: Any
) -> None:
    shutil.copytree(small, tmp_path / "us", ignore=shutil.ignore_patterns("*.runs", "*.check"))
    site = tmp_path / "us" / "site.toml"
    site.write_text(site.read_text().replace('show = "metric"', 'show = "us"'))
    done = wellring("run", site, *QUICK)
    assert done.code == 0
    stored = json.loads((site.parent / "site.runs/six wells/answers.json").read_text("utf-8"))
    assert numbers(stored) == numbers(json.loads(metric.out)["six wells"])
    headline = stored["02-final-dig.inflow_total"]["value"]
    assert f"{headline * 60 / 3.785411784e-3:,.0f} gpm" in done.out
    margin = stored["02-final-dig.dry_margin"]["value"]
    assert f"{margin / 0.3048:,.2f} ft (needed 1.64 ft)  ok" in done.out
    wellring("report", site.parent / "site.runs/six wells")
    page = (site.parent / "site.runs/six wells/report.html").read_text("utf-8")
    words = html.unescape(re.sub(r"<(script|style).*?</\1>|<[^>]+>", " ", page, flags=re.S))
    told = wellring("check", site, "--out", tmp_path / "drawn").out
    assert "formations 3.28 ft, -4.92 ft" in told
    assert "ft/day" in told
    for text in (done.out, words, told):
        assert METRIC.findall(text) == []


def test_exit_code_when_the_pit_is_not_dry(small: Path, tmp_path: Path, wellring: Any) -> None:
    shutil.copytree(small, tmp_path / "wet", ignore=shutil.ignore_patterns("*.runs"))
    site = tmp_path / "wet" / "site.toml"
    site.write_text(site.read_text().replace("hold = -4.0", "hold = -1.5"))
    done = wellring("run", site, *QUICK, "--json")
    assert done.code == 1
    answers = json.loads(done.out)["six wells"]
    assert answers["01-first-dig.dry_margin"]["ok"] is True
    assert answers["02-final-dig.dry_margin"]["ok"] is False
    folder = tmp_path / "wet/site.runs/six wells"
    assert wellring("report", folder, "--no-figures").code == 1


def test_exit_code_when_the_floor_is_not_held(small: Path, tmp_path: Path, wellring: Any) -> None:
    shutil.copytree(small, tmp_path / "heaves", ignore=shutil.ignore_patterns("*.runs"))
    site = tmp_path / "heaves" / "site.toml"
    rules = '\n[stability]\nrules = "global factor"\nuplift_factor = 3.0\n'
    site.write_text(site.read_text() + rules)
    done = wellring("run", site, *QUICK)
    assert done.code == 1
    assert re.search(r"  uplift +\d\.\d\d \(at most 1\.00\)  NOT OK", done.out)
    assert "the floor HEAVES by uplift" in done.out


FAILING = """#!/bin/sh
if [ "$1" = --version ]; then echo "mf6: 6.4.1 Release 12/09/2022"; exit 0; fi
echo "out of sorts"
exit 1
"""


def test_exit_code_when_the_solver_fails(
    small: Path, tmp_path: Path, wellring_process: Any
) -> None:
    solver = tmp_path / "mf6"
    solver.write_text(FAILING)
    solver.chmod(0o755)
    out = tmp_path / "runs"
    done = wellring_process(
        "run", small / "site.toml", *QUICK, "--json", "--solver", solver, "--out", out
    )
    assert done.code == 3
    assert done.out == ""
    assert "Traceback" not in done.err
    last = done.err.rstrip("\n").split("\n")[-1]
    named = re.search(r"no answer for stage '(.+?)': .*out of sorts\. .* kept in (.+)$", last)
    assert named, last
    kept = Path(named[2])
    assert kept == out / "six wells.failed" / "mf6"
    assert [item.name for item in out.iterdir()] == ["six wells.failed"]
    stages = [item for item in kept.iterdir() if item.is_dir()]
    assert any((stage / "mfsim.nam").is_file() for stage in stages)
    refused = wellring_process("report", kept.parent)
    assert refused.code == 2
    assert "a finished run folder" in refused.err


def test_solver_is_told(wellring_process: Any, solver: Any) -> None:
    told = wellring_process("solver", "--json")
    assert told.code == 0
    assert json.loads(told.out) == {
        "path": str(solver.path),
        "version": solver.version,
        "origin": "named by WELLRING_MF6",
        "sha256": solver.sha256,
    }
    assert f"MODFLOW 6 {solver.version}" in wellring_process("solver").out


def test_version(wellring_process: Any, solver: Any) -> None:
    done = wellring_process("--version")
    assert done.code == 0
    assert done.err == ""
    own, mf6 = done.out.splitlines()
    assert own == f"wellring {importlib.metadata.version('wellring')}"
    assert mf6 == f"MODFLOW 6 {solver.version}, named by WELLRING_MF6"


def test_version_without_a_solver(wellring_process: Any, tmp_path: Path) -> None:
    done = wellring_process("--version", WELLRING_MF6=str(tmp_path / "none"))
    assert done.code == 0
    assert done.out.splitlines()[1].startswith("MODFLOW 6: none that runs here; `wellring solver`")


def test_output_nobody_reads(small: Path, solver: Any) -> None:
    """As in `wellring check … | head -1`: no traceback when the pipe is closed."""
    import os
    import subprocess
    import sys

    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "wellring.model.commands.cli", "solver", "--json"],
        stdout=write,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env={**os.environ, "WELLRING_MF6": str(solver.path)},
        timeout=60,
        check=False,
    )
    os.close(write)
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
