"""Pumps that give less against more lift, losses within the well, filters: by hand and solved."""

import csv
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from closed_form import ClosedForm

from wellring.inputs.basics.units import to_si
from wellring.inputs.site.drainage import DeepWells, Pump
from wellring.model.drainage.deep_wells import skin_of
from wellring.model.drainage.points import GridPoint, PointState
from wellring.model.drainage.pump_curve import PumpCurve, curve_of
from wellring.model.limits.first_drives import lowest_drive
from wellring.model.limits.growing_flows import settle_growing
from wellring.model.limits.limits import settle
from wellring.model.mf6.build import WELLS_CSV
from wellring.model.runs.run import Run
from wellring.model.runs.run import run as run_site

START = Path(__file__).resolve().parents[3] / "model" / "start"
NATURAL, INFLUENCE = 10.0, 200.0
CURVE = PumpCurve(np.array([0.0, 0.01, 0.03]), np.array([20.0, 16.0, 6.0]))


def well(lowest: float, **values: object) -> GridPoint:
    """A well whose screen takes in all that is asked of it."""
    values = {"wanted": None, "pump_capacity": None, **values}
    return GridPoint(
        name="W", x=0.0, y=0.0, method="deep wells", radius=0.3, screen=(-40.0, 5.0),
        node=np.array([0]), conductance=np.ones(1), lowest=lowest, screen_k=np.array([1e-2]),
        screen_bottom=np.array([-40.0]), screen_top=np.array([5.0]), **values,
    )  # fmt: skip


def ground(drives):
    """One well in ground whose level falls 200 m for each m³/s, the loss in the well apart."""
    (drive,) = drives
    if drive.held is not None:
        return [PointState(drive.held, (NATURAL - drive.held) / INFLUENCE)]
    if drive.growth is not None:
        level = (NATURAL + INFLUENCE * drive.growth * drive.still) / (
            1.0 + INFLUENCE * drive.growth
        )
        return [PointState(level, drive.growth * (level - drive.still))]
    return [PointState(NATURAL - INFLUENCE * (drive.rate or 0.0), drive.rate or 0.0)]


def growing(points, solve):
    held = [lowest_drive(point) for point in points]
    drives, states, _, settled = settle_growing(
        points, ClosedForm(solve, [NATURAL]), held, solve(held)
    )
    return drives[0], states[0], settled


def rated(points, solve):
    found = settle(points, ClosedForm(solve, [NATURAL]))
    return found.drives[0], found.states[0], found.settled


@pytest.mark.parametrize("search", [rated, growing])
def test_flow_and_lift_meet_on_the_pumps_curve(search: Callable) -> None:
    """By hand: 12 m delivery, ground 10 − 200·Q, curve 16 − 500·(Q − 0.01) beyond 0.01 m³/s.

    Lift 2 + 200·Q = 21 − 500·Q gives Q = 19/700 = 0.027143 m³/s at the level 4.5714 m.
    """
    drive, state, settled = search([well(-30.0, curve=CURVE, delivery=12.0)], ground)
    assert settled
    assert drive.governing == "pump"
    assert state.flow == pytest.approx(19 / 700, rel=1e-3)
    assert state.level == pytest.approx(10 - 200 * 19 / 700, abs=0.01)


def test_a_pump_too_weak_for_the_lift_gives_nothing() -> None:
    assert CURVE.most(20.0) == 0.0
    assert CURVE.most(25.0) == 0.0
    assert CURVE.most(18.0) == pytest.approx(0.005)
    assert CURVE.most(-3.0) == 0.03


def test_a_curve_that_begins_late_goes_on_to_its_shut_off() -> None:
    curve = PumpCurve(np.array([0.01, 0.03]), np.array([16.0, 6.0]))
    assert curve.most(18.5) == pytest.approx(0.005)
    assert curve.most(21.1) == 0.0


def test_capacity_and_head_make_a_curve() -> None:
    """H = 4/3·H_r − H_r/3·(Q/Q_r)² (common practice): half the flow against 1.25 times H_r."""
    curve = curve_of(Pump(capacity=0.02, head=12.0))
    assert curve is not None
    assert curve.most(12.0) == pytest.approx(0.02)
    assert curve.most(11.0) == pytest.approx(0.02)  # never more than its capacity
    assert curve.most(15.0) == pytest.approx(0.01, rel=1e-3)
    assert curve.most(16.1) == 0.0
    assert curve_of(Pump(capacity=0.02)) is None


@pytest.mark.parametrize("search", [rated, growing])
@pytest.mark.parametrize("square", [2e3, 4e4, 1e6])
def test_a_level_held_within_the_well_counts_the_loss(search: Callable, square: float) -> None:
    """By hand: 10 − 200·Q − C·Q² = 2 m, so Q = (√(200² + 4·C·8) − 200)/(2·C)."""
    point = well(2.0, square_loss=square)
    drive, state, settled = search([point], ground)
    flow = (np.sqrt(200.0**2 + 32.0 * square) - 200.0) / (2.0 * square)
    assert settled
    assert drive.governing == "level"
    assert state.flow == pytest.approx(flow, rel=1e-3)
    assert point.level_within(state) == pytest.approx(2.0, abs=1e-3)


def test_a_linear_loss_is_in_series_with_the_screen() -> None:
    """A conductance of 0.01 m²/s and b = 50 s/m² make 1/(100 + 50) m²/s together."""
    point = well(2.0)
    half = GridPoint(**{**point.__dict__, "conductance": np.array([0.01])})
    assert half.worse(50.0).conductance.sum() == pytest.approx(1 / 150)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("50 s/m2", "s/m2", 50.0),
        ("5e-4 day/m2", "s/m2", 43.2),
        ("1900 s2/m5", "s2/m5", 1900.0),
        ("0.5 min2/m5", "s2/m5", 1800.0),
        ("1 s2/ft5", "s2/m5", 0.3048**-5),
    ],
)
def test_losses_carry_units(text: str, unit: str, value: float) -> None:
    assert to_si(text, unit) == pytest.approx(value)


@pytest.fixture
def run_wells(tmp_path: Path) -> Callable[[str], Run]:
    """Run the start site with six wells in its pit and these further keys."""

    def run_it(keys: str) -> Run:
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        shutil.copytree(START, folder)
        file = folder / "site.toml"
        text = file.read_text(encoding="utf-8")
        before, after = text.index("[[schemes]]"), text.index("[[points]]")
        scheme = (
            '[[schemes]]\nname = "tried"\n[[schemes.drainage]]\nmethod = "deep wells"\n'
            'ring = { offset = -1.5, count = 6 }\nscreen = [-8.5, -1.0]\ndiameter = "800 mm"\n'
            f"hold = -6.0\n{keys}\n"
            "[grid]\ncell = 2.0\nsublayer = 1.0\ngrowth = 1.6\nlargest = 60.0\n"
        )
        file.write_text(text[:before] + scheme + text[after:], encoding="utf-8")
        (finished,) = run_site(file, figures=False, side_studies=False)
        return finished

    return run_it


def test_every_well_works_on_its_curve(run_wells: Callable[[str], Run]) -> None:
    """Solved: each well's flow is what its pump gives against the lift to 7 m and 1.5 m loss."""
    run = run_wells(
        'pump = { curve = [["0 m3/h", 18], ["10 m3/h", 14], ["25 m3/h", 4]],'
        " discharge_level = 7.0, losses = 1.5 }"
    )
    curve = PumpCurve(np.array([0.0, 10.0, 25.0]) / 3600, np.array([18.0, 14.0, 4.0]))
    pumped = [w for w in run.reader.ledger.wells if w.governing[-1] == "pump"]
    assert pumped
    for item in pumped:
        assert item.level[-1] is not None
        assert item.flow[-1] == pytest.approx(curve.most(8.5 - item.level[-1]), rel=1e-3)


def test_losses_within_the_wells_are_solved(run_wells: Callable[[str], Run]) -> None:
    """Levels are those within the wells; the solver's own stand C·Q² higher."""
    run = run_wells('well_loss = { b = "100 s/m2", c = "9e4 s2/m5" }')
    ledger = run.reader.ledger
    folder = run.reader.path / "mf6" / ledger.stages[-1].folder
    with open(folder / WELLS_CSV, newline="") as file:
        last = {key.strip(): value for key, value in list(csv.DictReader(file))[-1].items()}
    for index, item in enumerate(ledger.wells, start=1):
        assert item.level[-1] is not None
        assert item.governing[-1] == "level"
        assert item.level[-1] == pytest.approx(-6.0, abs=1e-3)
        solved = float(last[f"HEAD{index}"])
        assert solved - item.level[-1] == pytest.approx(9e4 * item.flow[-1] ** 2, abs=1e-4)
        assert solved - item.level[-1] > 0.2


def test_a_filter_adds_its_own_ring_of_loss() -> None:
    """By hand: kh 1e-4, filter 1e-3 m/s, 400 mm around 200 mm: skin 0.1·ln 2 = 0.0693."""
    wells = DeepWells(
        method="deep wells", ring={"offset": 1, "count": 4}, screen=(-8, -1), diameter=0.4,
        hold=-5, screen_diameter=0.2, filter_k=1e-3,
    )  # fmt: skip
    assert skin_of(wells, 0.2, 300.0)(np.array([1e-4])) == pytest.approx(0.069315, rel=1e-4)
