"""Walls on the real solver: windows of bad joints, later stages, toes along the line, soil walls.

A pit of 20 by 12 m in 10 m of sand over 3 m of clay, sheet piles all round into the clay.
"""

from collections.abc import Callable
from typing import Any

import pytest

from wellring.model.runs.run import Run
from wellring.model.runs.run import run as run_site

PILES = {
    "kind": "sheet pile", "name": "piles", "toe": -11.5, "joint_resistance": "1e-8 m/s",
    "pile_width": 0.6,
}  # fmt: skip
FIRST, LAST = "01-dig-1", "02-dig-2"


@pytest.fixture(scope="module")
def run_walls(tmp_path_factory: pytest.TempPathFactory, plain_site: Any) -> Callable[..., Run]:
    """Run the pit with one wall, changed by keyword; each variant is run once."""
    known: dict[str, Run] = {}

    def run_it(**changed: Any) -> Run:
        key = repr(sorted(changed.items()))
        if key not in known:
            folder = tmp_path_factory.mktemp("walls")
            wall = {
                name: value for name, value in {**PILES, **changed}.items() if value is not None
            }
            path = plain_site(
                folder / "site",
                layers=(("sand", -10.0), ("clay", -13.0)),
                soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9)},
                formations=(-3.0, -5.0),
                walls=(wall,),
            )
            (known[key],) = run_site(path, figures=False, side_studies=False)
        return known[key]

    return run_it


def value(run: Run, name: str) -> float:
    found = run.answers.answers[name].value
    assert isinstance(found, float)
    return found


def test_a_window_of_bad_joints_lets_its_share_through(run_walls: Callable[..., Run]) -> None:
    """A window of 4 m of 64 m, leaking 100 times as much, adds at most 4/64·99 = 6.2 times the
    inflow of the tight wall (less, as the ground resists too), and much of that. It is narrower
    than the grid's cells there."""
    window = [{"start": 8.0, "end": 12.0, "factor": 100.0}]
    tight, leaky = run_walls(), run_walls(windows=window)
    gained = value(leaky, f"{LAST}.inflow_total") / value(tight, f"{LAST}.inflow_total") - 1.0
    assert 3.0 < gained < 6.3
    assert any("what-if: 'piles' leaks 100 times as much" in t for t in leaky.answers.warnings)
    assert not any("what-if" in text for text in tight.answers.warnings)


def test_a_wall_of_a_later_stage_stands_from_then_on(run_walls: Callable[..., Run]) -> None:
    """Before its stage there is no wall; in its stage all is as if it had stood all the time."""
    none, later = run_walls(kind="none", joint_resistance=None), run_walls(stage="dig 2")
    always = run_walls()
    name = f"{FIRST}.inflow_total"
    assert value(later, name) == pytest.approx(value(none, name), rel=1e-3)
    assert value(later, name) > 3 * value(always, name)
    name = f"{LAST}.inflow_total"
    assert value(later, name) == pytest.approx(value(always, name), rel=5e-3)


def test_a_toe_that_hangs_on_one_side_lets_water_under(run_walls: Callable[..., Run]) -> None:
    """Toes −11.5 m in the clay but −7 m along the first side: water passes beneath there alone."""
    deep, stepped = run_walls(), run_walls(toe=[-7.0, -7.0, -11.5, -11.5])
    hanging = run_walls(toe=-7.0)
    name = f"{LAST}.under_toe"
    assert value(deep, name) < 0.02 * value(stepped, name)
    assert 0.2 * value(hanging, name) < value(stepped, name) < 0.8 * value(hanging, name)


def test_soldier_piles_hold_no_water_and_the_answers_say_what_follows(
    run_walls: Callable[..., Run],
) -> None:
    none = run_walls(kind="none", joint_resistance=None)
    soldiers = run_walls(kind="soldier pile and lagging", joint_resistance=None)
    for stage in (FIRST, LAST):
        for part in ("inflow_total", "reach"):
            assert value(soldiers, f"{stage}.{part}") == pytest.approx(
                value(none, f"{stage}.{part}"), rel=1e-6
            )
    told = [text for text in soldiers.answers.warnings if "holds soil but not water" in text]
    assert len(told) == 1
    assert "filtered" in told[0]
    assert "the ground outside is drained as if no wall stood there" in told[0]
    assert "m lower than before" in told[0]
