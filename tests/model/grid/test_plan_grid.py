"""The plan grid: areas, places and lengths against plain geometry."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from wellring.model.grid.plan_grid import (
    HeadLine,
    PlanChoices,
    PlanGrid,
    grid_direction,
    make_plan_grid,
)

EAST, NORTH = 466000.0, 5918000.0
ELL = Polygon([(0, 0), (60, 0), (60, 20), (25, 20), (25, 45), (0, 45)])


def placed(polygon, degrees):
    turned = shapely.affinity.rotate(polygon, degrees, origin=(0, 0))
    return shapely.affinity.translate(turned, EAST, NORTH)


def grid_of(outline, cell=1.0, lines=(), points=(), head_lines=(), extent=120.0, **rows):
    choices = PlanChoices(cell, cell, 2 * cell, 1.3, 15.0, extent)
    return make_plan_grid(
        outline, list(lines), np.array(points, float).reshape(-1, 2), choices, head_lines, **rows
    )


@pytest.mark.parametrize("degrees", [0, 17, 45, 90, 133.7, 271])
def test_an_ell_turned_any_way_keeps_its_area_exactly(degrees):
    outline = placed(ELL, degrees)
    grid = grid_of(outline)
    assert grid.area[grid.inside(outline)].sum() == pytest.approx(ELL.area, rel=1e-6)


@pytest.mark.parametrize("cell", [0.5, 1.0])
def test_a_skew_pit_keeps_its_area_within_one_percent(cell):
    outline = placed(Polygon([(0, 0), (50, 6), (41, 38), (-7, 29)]), 20)
    grid = grid_of(outline, cell)
    assert grid.area[grid.inside(outline)].sum() == pytest.approx(outline.area, rel=0.01)


def test_a_round_pit_keeps_its_area_within_one_percent():
    outline = placed(Point(0, 0).buffer(18, 32), 0)
    grid = grid_of(outline)
    assert grid.area[grid.inside(outline)].sum() == pytest.approx(outline.area, rel=0.01)


def test_local_and_site_places_are_each_others_inverse():
    grid = grid_of(placed(ELL, 33))
    rng = np.random.default_rng(1)
    x, y = EAST + rng.uniform(-300, 300, 50), NORTH + rng.uniform(-300, 300, 50)
    back = grid.to_site(*grid.to_local(x, y))
    assert np.allclose(back, (x, y), atol=1e-6)
    # A rotation keeps distances, and the origin is the lower left corner of the grid.
    local = np.column_stack(grid.to_local(x, y))
    assert np.allclose(
        np.hypot(*np.diff(local, axis=0).T), np.hypot(np.diff(x), np.diff(y)), atol=1e-6
    )
    assert np.allclose(grid.to_local(*grid.origin), 0.0, atol=1e-6)


def test_rows_run_from_north_to_south_of_the_local_axes():
    grid = PlanGrid(np.array([0.0, 1.0, 3.0]), np.array([5.0, 2.0, 0.0]), (10.0, 20.0), 0.0)
    x, y = grid.centres
    assert x.tolist() == [[10.5, 12.0]] * 2
    assert y.tolist() == [[23.5, 23.5], [21.0, 21.0]]
    assert grid.area.tolist() == [[3.0, 6.0], [2.0, 4.0]]
    turned = PlanGrid(grid.x_edges, grid.y_edges, (10.0, 20.0), np.pi / 2)
    x, y = turned.centres
    assert np.allclose(x[0, 0], 10 - 3.5)  # local x points north, local y west
    assert np.allclose(y[0, 0], 20.5)


def test_the_cell_of_a_point_is_the_box_that_holds_it():
    grid = grid_of(placed(ELL, 25), cell=4.0, extent=40.0)
    rng = np.random.default_rng(2)
    x, y = EAST + rng.uniform(-150, 150, 200), NORTH + rng.uniform(-150, 150, 200)
    rows, columns = grid.cell_of(x, y)
    outside = 0
    for px, py, row, column in zip(*grid.to_local(x, y), rows, columns, strict=True):
        held = [
            (i, j)
            for i in range(grid.shape[0])
            for j in range(grid.shape[1])
            if grid.y_edges[i + 1] < py <= grid.y_edges[i]
            and grid.x_edges[j] <= px < grid.x_edges[j + 1]
        ]
        outside += not held
        assert (held or [(-1, -1)]) == [(row, column)]
    assert 0 < outside < 200


def test_lengths_in_cells_sum_to_the_line():
    grid = grid_of(placed(ELL, 25), cell=3.0)
    xy = np.array([EAST, NORTH]) + np.random.default_rng(3).uniform(-80, 80, (7, 2))
    line = LineString(xy)
    lengths = grid.length_in_cells(line)
    assert lengths.sum() == pytest.approx(line.length, rel=1e-6)
    # Where a sample of the line lies, the cell has length.
    samples = shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.linspace(0.01, line.length, 60))
    )
    assert np.all(lengths[grid.cell_of(samples[:, 0], samples[:, 1])] > 0)


@pytest.mark.parametrize("degrees", [0, 30])
def test_a_line_that_runs_on_a_grid_line_counts_once(degrees):
    # The pit's own edge is a grid line: a river along it must not be wetted on both sides.
    outline = placed(ELL, degrees)
    grid = grid_of(outline)
    edge = LineString(list(outline.exterior.coords)[:2])
    assert grid.length_in_cells(edge).sum() == pytest.approx(edge.length, rel=1e-4)


def test_a_line_outside_the_grid_has_no_length_in_it():
    grid = grid_of(placed(ELL, 0), extent=10.0)
    assert (
        grid.length_in_cells(LineString([(EAST, NORTH + 900), (EAST + 5, NORTH + 900)])).sum() == 0
    )


@pytest.mark.parametrize("degrees", [-170, -31, 0, 12.5, 45, 89.9, 90, 150])
def test_the_grid_lies_along_the_long_side(degrees):
    angle = grid_direction(placed(Polygon([(0, 0), (50, 0), (50, 12), (0, 12)]), degrees))
    assert np.sin(angle - np.radians(degrees)) == pytest.approx(0.0, abs=1e-6)


def test_sides_surveyed_a_little_crooked_still_agree():
    """Long sides in pieces a fifth of a degree off outvote one straight skew edge."""
    x = np.arange(0.0, 61.0, 5.0)
    wobble = np.where(np.arange(x.size) % 2, 0.017, 0.0)
    below, above = np.column_stack([x, wobble]), np.column_stack([x[::-1], 12 + wobble])
    outline = placed(Polygon([*below, (69, 6), *above]), 20)
    assert np.degrees(grid_direction(outline)) == pytest.approx(20, abs=0.4)


def test_a_round_pit_gets_some_direction():
    assert abs(grid_direction(placed(Point(0, 0).buffer(10), 0))) <= np.pi / 2


def test_distances_are_those_of_the_cell_centres():
    outline = placed(ELL, 20)
    grid = grid_of(outline, cell=5.0, extent=50.0)
    distance = grid.distance_to(outline)
    x, y = grid.centres
    for row, column in [(0, 0), (5, 7), (12, 3), (9, 9)]:
        here = Point(x[row, column], y[row, column])
        assert distance[row, column] == pytest.approx(outline.distance(here), abs=1e-6)
    assert distance[grid.inside(outline)].max() == 0.0


def test_held_levels_lie_on_cell_centres_and_impervious_edges_between_cells():
    outline = placed(ELL, 0)
    held = LineString([(EAST - 500, NORTH + 80), (EAST + 500, NORTH + 80)])
    edge = LineString([(EAST - 500, NORTH - 30), (EAST + 500, NORTH - 30)])
    lines = [HeadLine(held, lambda piece: 4.0, True), HeadLine(edge, lambda piece: 4.0, False)]
    grid = grid_of(outline, head_lines=lines)
    y = grid.centres[1][:, 0]
    assert np.abs(y - (NORTH + 80)).min() < 1e-6
    edges = grid.y_edges + grid.origin[1]
    assert np.abs(edges - (NORTH - 30)).min() < 1e-6


def test_cells_are_fine_at_the_pit_and_at_wells_and_coarse_far_off():
    grid = grid_of(placed(ELL, 0), points=[(EAST + 100, NORTH + 70)])
    x = grid.x_edges + grid.origin[0]
    width = grid.delr
    assert width[np.searchsorted(x, EAST + 0.5) - 1] <= 1.2
    well = width[np.searchsorted(x, EAST + 100.0) - 1]
    assert 1.5 < well < 2.7
    assert width[0] > 8
    assert x[0] == pytest.approx(EAST - 120)
    assert x[-1] == pytest.approx(EAST + 180)


def test_dense_points_draw_no_lines_but_a_row_has_its_cells_centred_on_it():
    """Two staggered rows along a long pit: the grid is as without them along it, across it not."""
    outline = placed(Polygon([(0, 0), (180, 0), (180, 6), (0, 6)]), 23)
    along = np.arange(0.0, 180.0, 2.7)
    rows = np.vstack(
        [np.column_stack([along, 0 * along - 8]), np.column_stack([along + 1.1, 0 * along + 14])]
    )
    cos, sin = np.cos(np.radians(23)), np.sin(np.radians(23))
    xy = np.column_stack(
        [EAST + cos * rows[:, 0] - sin * rows[:, 1], NORTH + sin * rows[:, 0] + cos * rows[:, 1]]
    )
    grid = grid_of(outline, dense=(xy, np.full(len(xy), 2.7)))
    beside = grid.delr[(grid.x_edges[:-1] > 130) & (grid.x_edges[1:] < 290)]
    assert beside.max() < 1.1 * 2.7
    assert beside.min() > 2.0
    single = grid_of(outline, points=xy)
    assert single.shape[1] > grid.shape[1] + 20  # lines of their own
    local_y = grid.to_local(xy[:, 0], xy[:, 1])[1]
    centres = grid.local_centres[1]
    for row in (local_y[0], local_y[-1]):
        assert np.abs(centres - row).min() < 0.01


def test_cells_at_an_oblique_boundary_grow_with_its_distance_from_the_pit():
    outline = placed(ELL, 0)
    line = LineString([(EAST - 100, NORTH - 20), (EAST + 700, NORTH - 420)])

    def size_at(piece):
        return max(outline.distance(piece) / 15, 1.0)

    grid = grid_of(outline, head_lines=[HeadLine(line, size_at, True)], extent=600.0)
    x = grid.x_edges + grid.origin[0] - EAST
    far = grid.delr[(x[:-1] > 400) & (x[1:] < 600)]
    assert far.min() > 10.0
