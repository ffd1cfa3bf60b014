"""The pumps stop: the pit fills as hand calculations say, closes its balance, and one well out of
work is the same as a scheme without it."""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wellring.inputs.basics.faults import InputFaults
from wellring.model.mf6.solve import run_solver
from wellring.model.outage import outage as outage_model
from wellring.model.outage.run_outage import OutageRun, outage
from wellring.model.runs.run import run
from wellring.postprocess.run.run_folder import RunFolder

WELLS = {
    "points": [(-2, 6), (22, 6), (10, -2), (10, 14)],
    "screen": [-10.0, -2.0],
    "diameter": "400 mm",
    "hold": -8.0,
}
PLUG = 4.0
"""Thickness of the clay plug [m]."""


def _plug(plain_site: Callable[..., Path], folder: Path, kv: float) -> Path:
    """A tight wall around the pit down through a clay plug that lies on pervious gravel."""
    return plain_site(
        folder,
        layers=(("sand", -4.0), ("clay", -8.0), ("gravel", -12.0)),
        soils={"sand": (1e-4, 1e-4), "clay": (kv, kv), "gravel": (1e-2, 1e-2)},
        walls=[{"kind": "slurry", "line": "outline", "toe": -8.0, "k": 1e-13, "thickness": 1.0}],
    )


def _hours(done: OutageRun, depth: float) -> float | None:
    wanted = done.answers.formation + depth
    return next(m.hours for m in done.answers.moments if abs(m.level - wanted) < 1e-9)


@pytest.fixture(scope="module")
def plug(tmp_path_factory: Any, plain_site: Callable[..., Path], solver: Path) -> OutageRun:
    """Through a plug of kv 1e-5 m/s."""
    site = _plug(plain_site, tmp_path_factory.mktemp("plug"), 1e-5)
    return outage(site, solver=solver, figures=False)


@pytest.fixture(scope="module")
def open_pit(tmp_path_factory: Any, plain_site: Callable[..., Path], solver: Path) -> OutageRun:
    """Four wells around an open pit in sand, from a finished run; its folder stands beside."""
    site = plain_site(tmp_path_factory.mktemp("open"), drainage=[WELLS], formations=(-3.0,))
    (finished,) = run(site, solver=solver, figures=False, side_studies=False)
    return outage(finished.folder, days=10.0, solver=solver, figures=True)


@pytest.mark.parametrize("depth", [0.1, 0.5, 1.0])
def test_a_pit_fills_through_its_plug(plug: OutageRun, depth: float) -> None:
    """Darcy through the plug, by hand: A·dz/dt = A·kv·(H − z)/L, so t = L/kv·ln(H0/(H0 − d)).

    H0 = 3 m is the natural level above formation. The gravel is in series with the plug: radial
    flow (Thiem) from the source's distance to a circle of the pit's area, 0.5 % of the loss.
    """
    area, reach = 20.0 * 12.0, 60.0
    radius = math.sqrt(area / math.pi)
    gravel = area * math.log((radius + reach) / radius) / (2 * math.pi * 1e-2 * 4.0)
    expected = (PLUG / 1e-5 + gravel) * math.log(3.0 / (3.0 - depth)) / 3600.0
    assert _hours(plug, depth) == pytest.approx(expected, rel=0.02)


def test_a_plug_ten_times_as_tight_floods_ten_times_as_late(
    plug: OutageRun, tmp_path: Path, plain_site: Callable[..., Path], solver: Path
) -> None:
    tight = outage(_plug(plain_site, tmp_path, 1e-6), days=15.0, solver=solver, figures=False)
    assert _hours(tight, 0.5) == pytest.approx(10.0 * (_hours(plug, 0.5) or 0.0), rel=0.02)
    assert _hours(tight, 1.0) is None
    assert "not reached within 15 days" in tight.text()


def test_what_runs_in_is_what_stands_in_the_pit(open_pit: OutageRun, solver: Path) -> None:
    """The solver's flows over the pit's faces, summed over all steps, against the volume."""
    from flopy.mf6.utils import MfGrdFile
    from flopy.utils import CellBudgetFile

    place = open_pit.folder / "mf6" / "outage"
    control = place / "gwf.oc"
    control.write_text(re.sub(r"(?i)save\s+budget\s+last", "SAVE BUDGET ALL", control.read_text()))
    assert run_solver(place, solver, "again", None, 120.0) == ""
    grid = MfGrdFile(str(place / "gwf.dis.grb"), verbose=False)
    steady = MfGrdFile(str(open_pit.folder.parent / "scheme/mf6/01-dig-1/gwf.dis.grb"))
    pit = (grid.idomain.ravel() > 0) & (steady.idomain.ravel() <= 0)
    row = np.repeat(np.arange(grid.ia.size - 1), np.diff(grid.ia))
    entering = pit[row] & ~pit[grid.ja]
    with CellBudgetFile(str(place / "gwf.bud"), precision="double") as file:
        times = np.array(file.get_times())
        rates = np.array(
            [file.get_data(text="FLOW-JA-FACE", totim=t)[0].ravel()[entering].sum() for t in times]
        )
    run_in = float(np.sum(rates * np.diff(times, prepend=0.0)))
    assert run_in > 100.0
    assert open_pit.answers.final_volume == pytest.approx(run_in, rel=0.01)


def test_water_rises_in_order_and_never_above_the_natural_level(open_pit: OutageRun) -> None:
    hours = [moment.hours for moment in open_pit.answers.moments]
    assert all(hour is not None and hour > 0 for hour in hours)
    assert hours == sorted(hours)  # type: ignore[type-var]
    with open(open_pit.folder / "outage.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    level = np.array([float(row["pit_level_m"]) for row in rows])
    under = np.array([float(row["highest_water_under_floor_m"]) for row in rows])
    assert max(level.max(), under.max()) <= -1.0 + 1e-3
    assert np.diff(level).min() > -1e-4
    assert level[-1] > -1.6  # most of the way back to -1 m
    assert float(rows[1]["hours"]) == pytest.approx(1 / 60, rel=1e-4)


def test_the_end_is_told_as_a_depth_and_a_level(open_pit: OutageRun) -> None:
    """Formation is below the datum here: a level alone would read as another depth."""
    with open(open_pit.folder / "outage.csv", newline="") as file:
        last = list(csv.DictReader(file))[-1]
    depth, level = float(last["depth_in_pit_m"]), float(last["pit_level_m"])
    assert depth - level > 1.0
    assert f"{depth:.2f} m of water over the floor (at {level:.2f} m)" in open_pit.text()


def test_how_pervious_open_water_is_does_not_matter(
    open_pit: OutageRun, solver: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(outage_model, "OPEN_WATER_K", 0.1)
    other = outage(
        open_pit.folder.parent / "scheme",
        days=10.0,
        out=tmp_path,
        single_wells=False,
        solver=solver,
        figures=False,
    )
    for one, two in zip(open_pit.answers.moments, other.answers.moments, strict=True):
        assert two.hours == pytest.approx(one.hours, rel=0.02)
    assert other.singles is None


def test_one_well_out_is_the_scheme_without_it(
    open_pit: OutageRun, tmp_path: Path, plain_site: Callable[..., Path], solver: Path
) -> None:
    """The stage solved for it alone, from its own natural state, has the same margin."""
    assert open_pit.singles is not None
    assert len(open_pit.singles) == 4
    three = {**WELLS, "points": WELLS["points"][1:]}
    site = plain_site(tmp_path, drainage=[three], formations=(-3.0,))
    (alone,) = run(site, solver=solver, figures=False, side_studies=False)
    margin = alone.answers.answers["01-dig-1.dry_margin"].value
    assert open_pit.singles[0].margin == pytest.approx(margin, abs=0.02)
    full = _full_margin(open_pit)
    assert all(item.margin < full for item in open_pit.singles)  # type: ignore[operator]


def _full_margin(done: OutageRun) -> float:
    """Margin with all wells at work."""
    text = (done.folder.parent / "scheme" / "answers.json").read_text(encoding="utf-8")
    return float(json.loads(text)["01-dig-1.dry_margin"]["value"])


def test_one_well_stopping_alone_floods_nothing(open_pit: OutageRun, tmp_path: Path, solver: Path):
    """The others go on within their limits; a name that is none is refused."""
    folder = open_pit.folder.parent / "scheme"
    choices: dict[str, Any] = {"out": tmp_path, "solver": solver, "figures": False}
    names = open_pit.answers.stopped
    alone = outage(folder, pumps=names[:1], single_wells=False, days=10.0, **choices)
    assert alone.answers.stopped == names[:1]
    assert alone.answers.running == names[1:]
    assert alone.answers.start_by is None
    assert "does not reach formation within 10 days" in alone.text()
    with pytest.raises(InputFaults, match="--pump"):
        outage(folder, pumps=["no such well"], **choices)


def test_folder_holds_answers_table_figure_and_text(open_pit: OutageRun) -> None:
    names = {path.name for path in open_pit.folder.iterdir()}
    assert {"outage.json", "outage.csv", "outage.txt", "outage.png", "outage.svg"} <= names
    stored = json.loads((open_pit.folder / "outage.json").read_text(encoding="utf-8"))
    assert stored == json.loads(json.dumps(open_pit.as_json()))
    assert not (open_pit.folder / "ledger.json").exists()  # the steady stage was that of the run
    assert not list(open_pit.folder.parent.glob(".*partial*"))


def test_relief_wells_flood_a_pit_whose_floor_is_tight(
    tmp_path: Path, plain_site: Callable[..., Path], solver: Path
) -> None:
    """Within a tight wall and over tight clay only the wells bring the gravel's water.

    By hand: their flow falls in line with the head that is left, so z = H − H0·exp(−t/τ) with
    τ = A·H0/Q0, Q0 from the steady stage, in which they flow at formation.
    """
    site = plain_site(
        tmp_path,
        layers=(("sand", -4.5), ("clay", -8.0), ("gravel", -12.0)),
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (2e-4, 2e-4)},
        walls=[{"kind": "slurry", "line": "outline", "toe": -8, "k": 1e-13, "thickness": 1.0}],
        drainage=[
            {
                "method": "relief wells",
                "points": [(5, 6), (15, 6)],
                "screen": [-11.5, -8.5],
                "diameter": "300 mm",
            }
        ],
        cell=3.0,
    )
    done = outage(site, days=2.0, solver=solver, figures=False)
    wells = RunFolder(done.folder).ledger.wells
    assert all(well.governing[1] == "level" for well in wells)  # no screen at its limit
    flow = sum(well.flow[1] for well in wells)
    tau = 20.0 * 12.0 * 3.0 / flow
    expected = -1.0 - 3.0 * math.exp(-2.0 * 86400 / tau)
    assert done.answers.final_level == pytest.approx(expected, abs=0.03)
    assert expected > -2.5
    # Each passive well can clog; 19 kN/m³ over 4 m of clay bear a head of −8 + 6.97 m (uplift).
    assert done.singles is not None
    assert [item.unit for item in done.singles] == ["W 1", "W 2"]
    assert all(item.passive and item.holds for item in done.singles)
    (plug,) = (item for item in done.answers.bursts if item.lower == "gravel")
    assert plug.head_allowed == pytest.approx(-8 + 0.9 * 4 * 19 / 9.81, abs=0.01)
    assert plug.hours is None
    assert plug.utilisation < 1.0  # while the wells flow
