"""The dig followed in time with the real solver: pumps keep their limits, the end is the steady
state, and the water is told to be down or not when the excavator arrives."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from wellring.inputs.site.drainage import Pump
from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.drainage.pump_curve import curve_of
from wellring.model.mf6.solver_output import spoilt
from wellring.model.runs.run import Run, run
from wellring.model.runs.transient import pump_rows
from wellring.model.start_site import start_site
from wellring.postprocess.settlement.settlement_course import settlement_course
from wellring.postprocess.stage_results import read_results
from wellring.postprocess.water.in_time import follow

HOLD, CAPACITY = -4.0, 20 / 3600


def _run(folder: Path, solver: Path, time: str) -> Run:
    site = start_site(folder)
    grid = "\n[grid]\ncell = 4.0\nsublayer = 1.5\nlargest = 40\n"
    site.write_text(site.read_text(encoding="utf-8") + grid + time, encoding="utf-8")
    return run(site, solver=solver, figures=False, side_studies=False)[0]


@pytest.fixture(scope="module")
def early(tmp_path_factory: pytest.TempPathFactory, solver: Path) -> Run:
    """Pumps that start two weeks before the dig."""
    return _run(tmp_path_factory.mktemp("early"), solver, "[time]\npumping_starts = -14\n")


def test_stretches_of_time_follow_the_stages(early):
    phases = early.reader.ledger.phases
    assert [(phase.begins, phase.ends) for phase in phases] == [(-14, 0), (0, 21), (21, 111)]
    assert [phase.formation for phase in phases] == [None, 1.0, -1.5]
    assert all(abs(phase.discrepancy) < 0.1 for phase in phases)


@pytest.mark.parametrize("name", ["gwf.hds", "wells.csv", "budget.csv"])
def test_a_last_step_that_is_cut_off_is_seen(early, name, tmp_path):
    """What is left is whole steps and whole lines, as a copy broken off between two writes is."""
    phase = early.reader.ledger.phases[-1].folder
    folder = Path(shutil.copytree(early.folder / "mf6" / phase, tmp_path / "phase"))
    assert spoilt(folder) == ""
    whole, grid = (folder / name).read_bytes(), early.reader.ledger.grid
    last = grid.nlay * (52 + 8 * grid.nrow * grid.ncol)
    if name != "gwf.hds":
        last = len(whole.splitlines(keepends=True)[-1])
    (folder / name).write_bytes(whole[:-last])
    assert "the last step of the heads" in spoilt(folder)


def test_ends_at_the_steady_state(early):
    course = follow(early.reader, early.answers.stages)
    steady = early.answers.stages[-1]
    assert course.total[-1] == pytest.approx(steady.inflow.total, rel=0.02)
    assert course.margins[steady.entry.folder][-1] == pytest.approx(steady.dryness.margin, abs=0.05)


def test_volume_is_the_flow_summed_over_days(early):
    course = follow(early.reader, early.answers.stages)
    assert np.all(course.length > 0)
    assert course.day[-1] - course.length.sum() == pytest.approx(-14.0)
    volume = sum(q * dt * 86400 for q, dt in zip(course.total, course.length, strict=True))
    answers = json.loads((early.folder / "answers.json").read_text(encoding="utf-8"))
    assert answers["time.volume"]["value"] == pytest.approx(volume)
    parts = [v["value"] for k, v in answers.items() if k.startswith("time.t") and "volume" in k]
    assert sum(parts) == pytest.approx(volume)


def test_pumps_keep_to_their_capacity_and_level(early):
    """No step takes more than the pump gives or draws the well below the level to be held."""
    for phase in early.reader.ledger.phases:
        with open(early.folder / "mf6" / phase.folder / "wells.csv", newline="") as file:
            for row in csv.DictReader(file):
                step = {name.strip().upper(): float(value) for name, value in row.items()}
                for number in range(1, 7):
                    assert step[f"HEAD{number}"] > HOLD - 1e-3
                    assert 0 <= -step[f"RATE{number}"] / 86400 <= CAPACITY * 1.001


def test_water_is_down_before_the_excavator(early):
    answers = early.answers.answers
    for stage in early.reader.ledger.stages[1:]:
        arrival = answers[f"{stage.folder}.margin_on_arrival"]
        assert arrival.ok
        assert arrival.value > 0.5
    assert -14 < answers["01-first-dig.dry_from_day"].value < 0
    assert (
        answers["01-first-dig.dry_from_day"].value < answers["02-final-dig.dry_from_day"].value < 21
    )


def test_time_table_has_a_row_a_step(early):
    with open(early.folder / "tables" / "time.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    course = follow(early.reader, read_results(early.reader))
    assert len(rows) == course.day.size
    assert float(rows[-1]["day"]) == 111
    assert rows[0]["phase"] == "pumping before the dig"


def test_pumps_that_start_with_the_dig_leave_it_wet(tmp_path, solver):
    """Day 0 is when the first stage is dug: the water cannot be down on the same day."""
    late = _run(tmp_path, solver, "[time]\n")
    assert late.answers.answers["02-final-dig.margin_on_arrival"].ok
    assert "01-first-dig.margin_on_arrival" not in late.answers.answers
    assert late.answers.answers["01-first-dig.dry_from_day"].value > 0
    assert any("time.pumping_starts" in text for text in late.answers.warnings)


def test_settlement_begins_with_the_pumps(early):
    """Two weeks before the first stage's day, by Terzaghi as by the model's own pressures."""
    course = settlement_course(early.reader, early.answers.stages)
    assert course.day[0] == -14.0
    assert course.terzaghi[0].max() == 0.0
    assert course.model_day[0] < -13.9
    before = [course.model[course.model_day <= 0.0][-1], course.terzaghi[course.day <= 0.0][-1]]
    assert (np.array(before) > 1e-3).all()


def test_course_is_drawn_with_formations_and_flow(early):
    from wellring.postprocess.figures.course import draw_course

    course = follow(early.reader, early.answers.stages)
    figure = draw_course(early.reader, early.answers.stages, course)
    levels, flows = figure.axes
    told = [text.get_text() for text in figure.legends[0].get_texts()]
    assert any("final dig" in text for text in told)
    assert any("Clearance" in text for text in told)
    assert levels.get_xlim() == pytest.approx((-14, 111))
    # The largest flow of the sheet is that of the answers, in the shown unit.
    assert flows.get_ylim()[1] == pytest.approx(1.06 * 3600 * course.total.max())


def test_a_well_asked_for_a_flow_gives_it_in_time():
    """Its pump lifts from where the water stands: from the screen's end it would give nothing."""
    pump = Pump.model_validate({"capacity": "35 m3/h", "head": "16 m", "efficiency": 0.6})
    point = GridPoint(
        "W 1", 0.0, 0.0, "deep wells", 0.2, (-18.4, -13.9), np.array([0]), np.array([1e-2]),
        lowest=-17.9, wanted=28 / 3600, pump_capacity=35 / 3600, screen_k=np.array([8e-4]),
        screen_bottom=np.array([-18.4]), screen_top=np.array([-13.9]), curve=curve_of(pump),
        delivery=4.3,
    )  # fmt: skip
    assert point.curve is not None
    assert point.curve.most(point.delivery - point.lowest) == 0.0
    rows = pump_rows(
        [point], [PointDrive(None, 28 / 3600, "rate")], [PointState(0.5, 28 / 3600)], None
    )
    (rate,) = [row[2] for row in rows if row[1] == "rate"]
    assert rate == pytest.approx(-28 * 24)
