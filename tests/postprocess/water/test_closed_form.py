"""The estimate on one sheet of paper: Girinskii's potential against integration and textbooks."""

import dataclasses

import numpy as np
import pytest
import shapely

from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.closed_form import closed_form, girinskii


@pytest.mark.parametrize("level", [-9.0, -5.0, -3.3, 0.0, 2.0, 7.0])
def test_the_potential_is_the_integral_of_k_times_head_above_z(level):
    tops, bottoms = np.array([1.0, -3.0, -6.0]), np.array([-3.0, -6.0, -10.0])
    k, base = np.array([1e-4, 5e-6, 3e-4]), -8.0
    z = np.linspace(base, max(level, base), 200_001)
    mid = 0.5 * (z[1:] + z[:-1])
    layer = np.clip(np.searchsorted(-bottoms, -mid), 0, 2)
    of_z = np.where(mid < 1.0, k[layer], 0.0)
    expected = float((of_z * (level - mid)).sum() * (z[1] - z[0]))
    assert girinskii(level, tops, bottoms, k, base) == pytest.approx(expected, rel=1e-4, abs=1e-12)


def test_in_one_layer_it_is_dupuits():
    # UFC 3-220-05's gravity well: Q = πk(H² − h²)/ln(R/r) with k 2e-4, H 20, h 12, R 400, r 0.3.
    one = (np.array([30.0]), np.array([0.0]), np.array([2e-4]), 0.0)
    rise = girinskii(20.0, *one) - girinskii(12.0, *one)
    assert 2 * np.pi * rise / np.log(400 / 0.3) == pytest.approx(0.0223544, rel=1e-5)


def test_where_the_layer_stays_full_it_is_thiems():
    one = (np.array([10.0]), np.array([0.0]), np.array([1e-4]), 0.0)
    rise = girinskii(25.0, *one) - girinskii(18.0, *one)
    assert rise == pytest.approx(1e-4 * 10 * 7.0)


@pytest.fixture
def start(start_run):
    return RunFolder(start_run.folder)


def test_the_start_sites_estimate_by_hand(start):
    """30 × 20 m of pit, water from 2.5 m to 0.5 m below −1.5 m, sand of 2e-4 on clay."""
    stage = start.ledger.stages[-1]
    found = closed_form(start, stage)
    outline = shapely.Polygon(start.ledger.outline)
    assert found.radius == pytest.approx(np.sqrt(600 / np.pi))
    assert found.source == pytest.approx(300 + found.radius)
    assert found.natural == pytest.approx(2.5, abs=0.02)
    assert found.lowered == pytest.approx(-2.0)
    plan = start.plan_cell(outline.centroid.x, outline.centroid.y)
    grid = start.grid_of(start.ledger.stages[0])
    soils = np.array([start.ledger.units[i].soil for i in start.unit[:, plan]])
    clay = (soils == "clay") & grid.active[:, plan]
    assert found.base == pytest.approx(grid.top[clay, plan].max())
    sand_top = grid.top[(soils == "sand") & grid.active[:, plan], plan].max()

    # Fill above the sand's top is kh 1e-5, the sand 2e-4: k·∫(H − z)dz over each.
    def potential(level):
        sand = min(level, sand_top)
        inside = 0.5 * ((level - found.base) ** 2 - (level - sand) ** 2)
        return 2e-4 * inside + 1e-5 * 0.5 * max(level - sand_top, 0.0) ** 2

    q = (
        2
        * np.pi
        * (potential(found.natural) - potential(-2.0))
        / np.log(found.source / found.radius)
    )
    assert found.flow == pytest.approx(q, rel=1e-3)
    assert any("wall" in reason for reason in found.differs)
    assert any("tight layer below" in reason for reason in found.differs)


def test_no_estimate_where_the_water_is_low_enough_already(start):
    stage = dataclasses.replace(start.ledger.stages[-1], formation=3.5)
    assert closed_form(start, stage) is None
    assert closed_form(start, start.ledger.stages[0]) is None


def test_the_water_is_lowered_no_further_than_the_base(start):
    deep = closed_form(start, dataclasses.replace(start.ledger.stages[-1], formation=-12.5))
    assert deep.lowered >= deep.base - 1e-9
    assert deep.flow > closed_form(start, start.ledger.stages[-1]).flow


def test_an_open_pit_down_to_the_base_of_its_sand_takes_about_that(plain_site, tmp_path):
    """A pit in one sand, dug nearly to the base: model and equivalent well agree to a fifth."""
    from wellring.model.runs.run import run

    path = plain_site(
        tmp_path, pit=[(-10, -10), (10, -10), (10, 10), (-10, 10)], layers=[("sand", -8.0)],
        soils={"sand": (1e-4, 1e-4)}, level=-1.0, formations=[-7.5], clearance=0.0, source=150.0,
    )  # fmt: skip
    (done,) = run(path, figures=False, side_studies=False)
    last = done.answers.stages[-1]
    assert last.inflow.total == pytest.approx(last.estimate.flow, rel=0.2)
