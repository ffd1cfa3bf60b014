"""Output of the solver that is cut short, empty, gone or no numbers is seen before it is used."""

from __future__ import annotations

import gc
import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import flopy
import numpy as np
import pytest

from wellring.model.mf6.solver_output import last_heads, spoilt
from wellring.model.runs.run import Run

# flopy leaves a file open that it could not read.
pytestmark = [
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]

OUTPUT = ("gwf.lst", "gwf.hds", "gwf.bud", "gwf.dis.grb", "wells.csv")


@pytest.fixture
def stage(start_run: Run, tmp_path: Path) -> Path:
    """A copy of the last stage's folder of a finished run."""
    last = sorted((start_run.folder / "mf6").iterdir())[-1]
    return Path(shutil.copytree(last, tmp_path / "stage"))


def not_numbers(path: Path, head: int) -> None:
    data = path.read_bytes()
    path.write_bytes(data[:head] + np.full((len(data) - head) // 8, np.nan).tobytes())


def last_line_cut(path: Path) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:-1]) + lines[-1][: len(lines[-1]) // 2])


SPOILT: dict[str, tuple[str, Callable[[Path], object]]] = {
    **{f"no {name}": (name, Path.unlink) for name in OUTPUT},
    **{f"empty {name}": (name, lambda path: path.write_bytes(b"")) for name in OUTPUT},
    **{
        f"noise in place of {name}": (name, lambda path: path.write_bytes(os.urandom(5000)))
        for name in OUTPUT[1:]
    },
    "heads and more": ("gwf.hds", lambda path: path.open("ab").write(b"junk")),
    "heads not numbers": ("gwf.hds", lambda path: not_numbers(path, 52)),
    "wells cut short": ("wells.csv", last_line_cut),
}


def test_heads_of_the_last_step_are_those_that_flopy_reads(start_run: Run, tmp_path: Path) -> None:
    for folder in (start_run.folder / "mf6").iterdir():
        with flopy.utils.HeadFile(folder / "gwf.hds", precision="double") as file:
            expected = file.get_data()
        assert np.array_equal(last_heads(folder / "gwf.hds"), expected)
        steps = tmp_path / "two_steps.hds"
        written = (folder / "gwf.hds").read_bytes()
        steps.write_bytes(written[:52] + bytes(len(written) - 52) + written)
        assert np.array_equal(last_heads(steps), expected)


def test_what_a_run_leaves_can_be_read(start_run: Run) -> None:
    for folder in (start_run.folder / "mf6").iterdir():
        assert spoilt(folder) == ""


@pytest.mark.parametrize("kind", SPOILT)
def test_what_is_spoilt_is_told(kind: str, stage: Path) -> None:
    name, spoil = SPOILT[kind]
    spoil(stage / name)
    assert f"cannot be read: {name}" in spoilt(stage)
    gc.collect()


def ends_of_records(budget: Path) -> list[int]:
    """Where records of a budget begin after the first, by flopy's own reading of it."""
    with flopy.utils.CellBudgetFile(budget, precision="double") as file:
        return [int(place) for place in file.iposheader[1:]]


@pytest.mark.parametrize("stage_index", [0, -1])
def test_a_budget_cut_between_two_records(stage_index: int, start_run: Run, tmp_path: Path) -> None:
    """Each record that is left is whole; what is missing is named."""
    folder = Path(
        shutil.copytree(sorted((start_run.folder / "mf6").iterdir())[stage_index], tmp_path / "s")
    )
    budget, whole = folder / "gwf.bud", (folder / "gwf.bud").read_bytes()
    cuts = ends_of_records(budget)
    assert cuts
    for cut in cuts:
        budget.write_bytes(whole[:cut])
        assert "gwf.bud: it is cut short: flows of" in spoilt(folder)
        assert "GHB_1" in spoilt(folder) or "MAW" in spoilt(folder)
    budget.write_bytes(whole)
    assert spoilt(folder) == ""


@pytest.mark.parametrize("name", ["gwf.hds", "gwf.bud"])
def test_cut_anywhere(name: str, stage: Path) -> None:
    """At sixty places of the heads and of the budget."""
    whole, chance = (stage / name).read_bytes(), random.Random(5)
    for _ in range(60):
        (stage / name).write_bytes(whole[: chance.randrange(len(whole))])
        assert spoilt(stage)
    (stage / name).write_bytes(whole)
    assert spoilt(stage) == ""
    gc.collect()
