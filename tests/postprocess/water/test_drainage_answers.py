"""Why a stage is not dry, windows in walls, walls that hold no water."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.model.runs.run import Run
from wellring.model.runs.run import run as run_site
from wellring.postprocess.water.wall_answers import wall_flows

START = Path(__file__).resolve().parents[3] / "model" / "start"
LAST = "02-final-dig"
Runs = Callable[..., Run]


@pytest.fixture(scope="module")
def run_with(tmp_path_factory: pytest.TempPathFactory) -> Runs:
    """Run the start site on a coarse grid with other drainage and other texts."""

    def run_it(tables: str, **changes: str) -> Run:
        folder = tmp_path_factory.mktemp("run") / "site"
        shutil.copytree(START, folder)
        file = folder / "site.toml"
        text = file.read_text(encoding="utf-8")
        before, after = text.index("[[schemes]]"), text.index("[[points]]")
        grid = "[grid]\ncell = 2.0\nsublayer = 1.0\ngrowth = 1.6\nlargest = 60.0\n"
        scheme = f'[[schemes]]\nname = "tried"\n{tables}\n{grid}'
        text = text[:before] + scheme + text[after:]
        for old, new in changes.values():
            assert old in text
            text = text.replace(old, new)
        file.write_text(text, encoding="utf-8")
        (finished,) = run_site(file, figures=False, side_studies=False)
        return finished

    return run_it


SUMP = '[[schemes.drainage]]\nmethod = "sump"\n'
WINDOW = "windows = [{ start = 8, end = 14, factor = 200 }]"
KIND = ('kind = "sheet pile"', 'kind = "soldier pile and lagging"')


@pytest.fixture(scope="module")
def sump(run_with: Runs) -> Run:
    """A sump within sheet piles that have a window of bad joints on their south side."""
    return run_with(
        SUMP,
        window=(
            "pile_width = 0.6",
            "pile_width = 0.6\nwindows = [{ start = 8, end = 14, factor = 200 }]",
        ),
    )


def test_a_sump_says_why_the_floor_is_not_dry(sump: Run) -> None:
    (told,) = [text for text in sump.answers.warnings if text.startswith("final dig is not dry")]
    assert "a sump lowers no water below the floor" in told
    assert "of 0.50 m needed" in told or "above formation" in told


def test_a_window_leaks_what_its_joints_let_through(sump: Run, run_with: Runs) -> None:
    answer = sump.answers.answers[f"{LAST}.window_1.sheet pile 1"]
    sound = run_with(SUMP)
    assert not any("window" in name for name in sound.answers.answers)
    (wall,) = sound.reader.ledger.walls
    through = wall_flows(sound.reader, sound.answers.stages[-1], wall)
    before = 6.0 / 100.0 * through.sum()  # the window takes 6 m of 100 m
    assert 10 * before < answer.value < 200 * before  # the ground itself resists too
    flows = [run.answers.answers[f"{LAST}.inflow_excavation"].value for run in (sound, sump)]
    # Part of it came under the toe before, and now takes the shorter way.
    assert 0.2 * (answer.value - before) < flows[1] - flows[0] < answer.value - before
    # Face by face or all at once, above and below formation.
    inflow = sound.answers.stages[-1].inflow
    assert inflow is not None
    assert through.sum() == pytest.approx(inflow.wall + inflow.through_wall, rel=1e-6)


def test_wells_that_cannot_go_deeper_are_the_reason(run_with: Runs) -> None:
    run = run_with(
        '[[schemes.drainage]]\nmethod = "deep wells"\nname = "weak"\n'
        "ring = { offset = -1.5, count = 3 }\n"
        'screen = [-8.5, -1.0]\ndiameter = "300 mm"\nhold = -8.0\n'
        'pump = { capacity = "2 m3/h" }\n'
    )
    (told,) = [text for text in run.answers.warnings if text.startswith("final dig is not dry")]
    assert "3 of 3 of weak give all that they can lift" in told
    assert "more points or stronger ones" in told


def test_ground_behind_lagging_falls_and_that_is_told(run_with: Runs) -> None:
    run = run_with(SUMP, kind=KIND, body=('joint_resistance = "3e-7 m/s"', "#"))
    (told,) = [text for text in run.answers.warnings if "holds soil but not water" in text]
    last, natural = run.answers.stages[-1], run.answers.stages[0]
    fall = re.search(r"up to ([\d.]+) m lower", told)
    assert fall is not None
    assert 0.5 < float(fall.group(1)) <= float(np.nanmax(natural.table - last.table)) + 0.01
    assert "washes soil out" in told
