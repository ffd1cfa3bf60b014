"""Dryness of a floor: where the water stands nearest to it, and floors too tight to judge."""

import dataclasses

import numpy as np
import pytest
import shapely

from wellring.postprocess.run.heads import water_table
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.dryness import TIGHT, Dryness, dryness


@pytest.fixture
def last(start_run):
    """The start site's last stage: run, entry, cells and heads (a copy to change)."""
    folder = RunFolder(start_run.folder)
    entry = folder.ledger.stages[-1]
    return folder, entry, folder.grid_of(entry), folder.heads(entry).copy()


def test_the_margin_is_least_where_the_water_is_highest(last):
    folder, entry, grid, heads = last
    found = dryness(folder, entry, grid, heads)
    below = []
    for plan in entry.floor:  # walk down each column of the floor to the first water
        layers = np.flatnonzero(
            grid.active[:, plan] & (heads[:, plan] > grid.bottom[:, plan] + 1e-6)
        )
        below.append(entry.formation - heads[layers[0], plan])
    assert found.margin == pytest.approx(min(below))
    assert np.allclose(found.depth_below, below)
    assert found.level == pytest.approx(entry.formation - found.margin)
    assert shapely.Polygon(folder.ledger.outline).contains(shapely.Point(found.x, found.y))
    assert found.needed == folder.ledger.clearance
    assert found.dry == (min(below) >= folder.ledger.clearance)
    assert found.tight_share == 0.0


def test_one_wet_spot_makes_the_floor_wet_and_is_found(last):
    folder, entry, grid, heads = last
    plan = entry.floor[37]
    heads[grid.active[:, plan], plan] = entry.formation + 0.3
    found = dryness(folder, entry, grid, heads)
    assert found.margin == pytest.approx(-0.3)
    assert not found.dry
    x, y = folder.centres
    assert (found.x, found.y) == (x[plan], y[plan])


@pytest.mark.parametrize(("depth", "dry"), [(0.501, True), (0.4995, True), (0.497, False)])
def test_the_clearance_is_kept_to_a_millimetre(last, depth, dry):
    folder, entry, grid, heads = last
    heads[:] = np.where(grid.active, entry.formation - depth, np.nan)
    found = dryness(folder, entry, grid, heads)
    assert found.margin == pytest.approx(depth)
    assert found.dry is dry


def test_a_floor_without_any_water_is_dry_to_the_models_floor(last):
    folder, entry, grid, heads = last
    heads[:] = -1e3
    found = dryness(folder, entry, grid, heads)
    assert found.dry
    assert found.margin == pytest.approx((entry.formation - grid.edges[-1][entry.floor]).min())


def with_kv(folder, kv):
    """The same run with another vertical conductivity in every soil."""
    copy = RunFolder(folder.path)
    soils = {name: dataclasses.replace(s, kv=kv) for name, s in folder.ledger.soils.items()}
    copy.__dict__["ledger"] = dataclasses.replace(folder.ledger, soils=soils)
    return copy


def test_a_tight_floor_is_not_judged_by_the_water_table(last):
    folder, entry, grid, heads = last
    heads[grid.active] = entry.formation + 5.0
    found = dryness(with_kv(folder, 0.5 * TIGHT), entry, grid, heads)
    assert found.margin is None
    assert found.tight_share == 1.0
    assert found.dry is None  # neither dry nor wet: its safety is that against uplift
    assert not dryness(with_kv(folder, 2 * TIGHT), entry, grid, heads).dry


def test_a_partly_tight_floor_is_judged_where_it_is_open(last):
    folder, entry, grid, heads = last
    floor = np.array(entry.floor)
    third = floor.size // 3
    wet = floor[:third]
    heads[:, wet] = np.where(grid.active[:, wet], entry.formation + 5.0, np.nan)
    copy = RunFolder(folder.path)
    unit = folder.unit.copy()
    soils = dict(folder.ledger.soils)
    name = folder.ledger.units[0].soil
    soils[name] = dataclasses.replace(soils[name], kv=1e-10)
    copy.__dict__["ledger"] = dataclasses.replace(folder.ledger, soils=soils)
    first = np.argmax(grid.active[:, wet], axis=0)
    assert not (unit[first, wet] == 0).any()  # so far no floor cell is in that soil
    unit[first, wet] = 0
    copy.__dict__["unit"] = unit
    found = dryness(copy, entry, grid, heads)
    assert found.tight_share == pytest.approx(folder.area[wet].sum() / folder.area[floor].sum())
    assert np.isnan(found.depth_below[:third]).all()
    assert found.margin > 0


@pytest.mark.parametrize(("kv", "stands"), [(0.5 * TIGHT, 0.0), (2 * TIGHT, 5.0)])
def test_pressure_under_a_tight_floor_is_not_drawn_as_water_in_the_dig(last, kv, stands):
    folder, entry, grid, heads = last
    heads[:] = np.where(grid.active, entry.formation + 5.0, np.nan)
    judged = dryness(with_kv(folder, kv), entry, grid, heads)
    result = StageResult(entry, grid, heads, water_table(grid, heads), dryness=judged)
    assert np.allclose(result.standing[list(entry.floor)], entry.formation + stands)
    beyond = np.setdiff1d(np.arange(result.table.size), entry.floor)
    assert np.array_equal(result.standing[beyond], result.table[beyond], equal_nan=True)


def test_dry_follows_margin_and_need():
    empty = (np.zeros(0), np.zeros(0, int))
    cases = [(None, None), (0.2, False), (0.5, True), (-1.0, False)]
    for margin, dry in cases:
        assert Dryness(margin, 0.5, None, None, None, 0.0, *empty).dry is dry
