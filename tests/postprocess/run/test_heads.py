"""Heads as an engineer reads them, against columns walked by hand."""

import dataclasses

import numpy as np
import pytest
import shapely

from wellring.postprocess.run.heads import (
    drawdowns,
    level_at,
    level_at_point,
    reach,
    saturated,
    unit_head,
    water_table,
)
from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.stage_results import read_results

NAN = np.nan


def column(*heads, active=None, edges=(0.0, -2.0, -4.0, -7.0)):
    """One column of three cells."""
    cells = np.ones(3, bool) if active is None else np.array(active)
    grid = StageGrid(np.array(edges, float)[:, None], cells[:, None])
    return grid, np.where(cells, heads, NAN)[:, None]


@pytest.mark.parametrize(
    ("heads", "active", "expected"),
    [
        ((-1.0, -1.0, -1.0), None, -1.0),
        ((-2.5, -2.5, -2.6), None, -2.5),  # the top cell is dry
        ((-2.0, -3.0, -3.0), None, -3.0),  # a head at the bottom of its cell is no water
        ((-1.0, -5.0, -5.0), None, -1.0),  # perched water is what a shovel meets first
        ((3.0, 3.0, 3.0), None, 3.0),  # artesian
        ((0.0, -2.5, -2.5), [False, True, True], -2.5),  # the top cell is dug away
        ((-9.0, -9.0, -9.0), None, NAN),
        ((0.0, 0.0, 0.0), [False, False, False], NAN),
    ],
)
def test_the_water_table_is_that_of_the_uppermost_water(heads, active, expected):
    assert water_table(*column(*heads, active=active))[0] == pytest.approx(expected, nan_ok=True)


def test_a_units_head_is_the_mean_over_its_wet_thickness():
    grid, heads = column(-1.0, -1.5, -3.0)
    unit = np.array([[0], [0], [1]], np.int16)
    # 1 m of water in the top cell, 2 m in the next: (−1·1 − 1.5·2)/3.
    assert unit_head(grid, heads, unit, 0)[0] == pytest.approx(-4.0 / 3)
    assert unit_head(grid, heads, unit, 1)[0] == pytest.approx(-3.0)
    assert np.isnan(unit_head(grid, heads, unit, 2)[0])
    dry = column(-8.0, -8.0, -8.0)
    assert np.isnan(unit_head(*dry, unit, 0)[0])


def test_a_level_is_read_in_the_cell_that_holds_it():
    grid, heads = column(-1.0, -1.5, -3.0)
    table = water_table(grid, heads)
    assert level_at(grid, heads, table, 0, None) == -1.0
    assert level_at(grid, heads, table, 0, -3.0) == -1.5
    assert level_at(grid, heads, table, 0, -6.9) == -3.0
    assert np.isnan(level_at(grid, heads, table, 0, -12.0))
    assert np.isnan(level_at(grid, heads, table, 0, 0.5))


def test_a_points_level_lies_between_cell_centres_but_not_across_a_wall(turned_run):
    """A plane of heads is met exactly anywhere; beside wall and pit the own cell alone counts."""
    entry = turned_run.ledger.stages[0]
    grid, (x, y) = turned_run.grid_of(entry), turned_run.centres
    (x0, y0), point = turned_run.ledger.outline[0], turned_run.ledger.points[0]

    def plane(at_x, at_y):
        return -1.0 + 0.01 * (at_x - x0) - 0.02 * (at_y - y0)

    heads = np.where(grid.active, plane(x, y), NAN)
    table = water_table(grid, heads)
    for shift in ((0.0, 0.0), (0.6, 0.3), (-0.4, 1.1)):
        place = dataclasses.replace(point, x=point.x + shift[0], y=point.y + shift[1])
        for level in (None, -5.0):
            asked = dataclasses.replace(place, level=level)
            got = level_at_point(turned_run, grid, heads, table, asked)
            assert got == pytest.approx(plane(place.x, place.y), abs=1e-9)
    edge = dataclasses.replace(point, x=x0, y=y0)
    own = turned_run.plan_cell(x0, y0)
    assert level_at_point(turned_run, grid, heads, table, edge) == table[own]
    assert np.isnan(
        level_at_point(turned_run, grid, heads, table, dataclasses.replace(point, x=x0 + 1e5))
    )


@pytest.fixture(scope="module")
def results(start_run):
    folder = RunFolder(start_run.folder)
    return folder, read_results(folder)


def test_water_tables_of_a_run_column_by_column(results):
    _, stages = results
    for result in stages:
        table = water_table(result.grid, result.heads)
        for plan in range(0, table.size, 211):
            expected = NAN
            for layer in range(result.heads.shape[0]):
                head = result.heads[layer, plan]
                if (
                    result.grid.active[layer, plan]
                    and head > result.grid.edges[layer + 1, plan] + 1e-6
                ):
                    expected = head
                    break
            assert table[plan] == pytest.approx(expected, nan_ok=True)


def test_nothing_is_drawn_down_before_the_work_and_more_the_nearer(results):
    folder, (natural, *_, last) = results
    none = drawdowns(folder, (natural.grid, natural.heads), (natural.grid, natural.heads))
    assert np.nanmax(np.abs(none.largest)) == 0.0
    x, y = folder.centres
    outline = shapely.Polygon(folder.ledger.outline)
    distance = shapely.distance(shapely.points(x, y), outline)
    rings = [(0, 20), (20, 60), (60, 120), (120, 250)]
    table = last.fall.table
    means = [np.nanmean(table[(distance > a) & (distance <= b)]) for a, b in rings]
    assert means == sorted(means, reverse=True)
    assert means[-1] > 0
    assert np.nanmin(last.fall.largest) > -1e-3  # pumping raises no water


def test_drawdown_is_the_difference_of_the_tables(results):
    _, (natural, *_, last) = results
    both = ~np.isnan(natural.table) & ~np.isnan(last.table)
    assert both.mean() > 0.5
    assert np.allclose(last.fall.table[both], (natural.table - last.table)[both])
    stacked = np.stack([last.fall.table, *last.fall.units.values()])
    some = ~np.isnan(stacked).all(axis=0)
    assert np.allclose(last.fall.largest[some], np.nanmax(stacked[:, some], axis=0))


def test_a_soil_that_ran_dry_fell_to_its_floor(results):
    """A column of the sand whose water is gone has lost all it had."""
    folder, (natural, *_) = results
    index = [unit.soil for unit in folder.ledger.units].index("sand")
    before = unit_head(natural.grid, natural.heads, folder.unit, index)
    mine = (folder.unit == index) & natural.grid.active
    plan = int(np.flatnonzero(~np.isnan(before) & mine.any(axis=0))[5])
    heads = natural.heads.copy()
    heads[:, plan] = np.where(mine[:, plan], natural.grid.bottom[:, plan] - 1.0, heads[:, plan])
    found = drawdowns(folder, (natural.grid, natural.heads), (natural.grid, heads))
    fall = found.units[folder.ledger.units[index].label]
    floor = natural.grid.bottom[mine[:, plan], plan].min()
    assert fall[plan] == pytest.approx(before[plan] - floor)
    assert np.nanmax(np.abs(np.delete(fall, plan))) == 0.0


def test_reach_is_the_farthest_cell_drawn_down_that_much(results):
    folder, (*_, last) = results
    outline = shapely.Polygon(folder.ledger.outline)
    x, y = folder.centres
    fall = last.fall.largest
    for least in (0.1, 1.0, 2.0):
        expected = max(
            (
                outline.distance(shapely.Point(a, b))
                for a, b, s in zip(x, y, fall, strict=True)
                if s >= least
            ),
            default=0.0,
        )
        assert reach(folder, fall, least) == pytest.approx(expected)
    assert reach(folder, np.zeros_like(fall)) == 0.0
    assert reach(folder, np.full_like(fall, NAN)) == 0.0


def test_saturated_cells_are_active_with_a_head_above_their_bottom(results):
    _, (*_, last) = results
    wet = saturated(last.grid, last.heads)
    assert not wet[~last.grid.active].any()
    assert np.all(last.heads[wet] > last.grid.bottom[wet])
    dry = last.grid.active & ~wet
    assert np.all(last.heads[dry] <= last.grid.bottom[dry] + 1e-6)
    assert dataclasses.is_dataclass(last.grid)
