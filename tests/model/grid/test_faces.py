"""Crossed faces: watertight where the line is closed, and of the right length."""

import itertools
from collections import deque

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from wellring.model.grid.faces import (
    PlanFaces,
    all_faces,
    barriers_reached,
    crossed_faces,
    face_midpoints,
    staircase_factor,
)
from wellring.model.grid.plan_grid import PlanChoices, PlanGrid, make_plan_grid

SHAPES = {
    "square": Polygon([(0, 0), (20, 0), (20, 20), (0, 20)]),
    "star": Polygon([(0, 12), (3, 3), (12, 0), (3, -3), (0, -12), (-3, -3), (-12, 0), (-3, 3)]),
    "u": Polygon([(0, 0), (30, 0), (30, 24), (22, 24), (22, 8), (8, 8), (8, 24), (0, 24)]),
    "round": Point(5, 5).buffer(13.0, 48),
    "sliver": Polygon([(0, 0), (30, 0.8), (30, 1.6)]),
}


def plain_grid(half=40.0, cell=1.0, rotation=0.0, stretch=1.0):
    """Cells over (−half, half)² turned about the site's origin."""
    x = np.arange(0.0, 2 * half + cell / 2, cell)
    y = np.arange(0.0, 2 * half + cell / 2, cell * stretch)[::-1].copy()
    cos, sin = np.cos(rotation), np.sin(rotation)
    origin = (-half * cos + half * sin, -half * sin - half * cos)
    return PlanGrid(x, y, origin, rotation)


def flood(grid, shut, start):
    """Plan cells reached from `start` by breadth first search over open faces."""
    faces = all_faces(grid)
    closed = {
        frozenset(pair) for pair in zip(shut.first.tolist(), shut.second.tolist(), strict=True)
    }
    neighbours = {}
    for a, b in zip(faces.first.tolist(), faces.second.tolist(), strict=True):
        if frozenset((a, b)) not in closed:
            neighbours.setdefault(a, []).append(b)
            neighbours.setdefault(b, []).append(a)
    seen, queue = {start}, deque([start])
    while queue:
        for other in neighbours.get(queue.popleft(), []):
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return seen


@pytest.mark.parametrize("rotation", [0.0, 0.4, np.pi / 4])
@pytest.mark.parametrize("name", SHAPES)
def test_a_closed_line_lets_nothing_out(name, rotation):
    grid, shape = plain_grid(rotation=rotation), SHAPES[name]
    shut = crossed_faces(grid, shape.exterior)
    inside = set(np.flatnonzero(grid.inside(shape).ravel()).tolist())
    x, y = (values.ravel() for values in grid.centres)
    corner = int(np.argmax(np.hypot(x, y)))
    assert inside
    assert not flood(grid, shut, corner) & inside


def test_a_ring_through_cell_centres_is_watertight_too():
    # Every corner and edge of this square runs through cell centres of the grid.
    grid = plain_grid(half=20.0)
    shape = Polygon([(-4.5, -4.5), (6.5, -4.5), (6.5, 6.5), (-4.5, 6.5)])
    shut = crossed_faces(grid, shape.exterior)
    middle = int(np.argmin(np.hypot(*(values.ravel() for values in grid.centres))))
    reached = flood(grid, shut, middle)
    assert 11**2 <= len(reached) <= 12**2


def test_an_open_line_lets_water_around_its_end():
    grid = plain_grid(half=20.0)
    ring = LineString(list(SHAPES["square"].exterior.coords)[:-1])  # one side is missing
    shut = crossed_faces(grid, ring)
    inside = np.flatnonzero(grid.inside(SHAPES["square"]).ravel())
    assert inside[0] in flood(grid, shut, 0)


@pytest.mark.parametrize("rotation", [0.0, 0.7])
def test_faces_are_those_whose_centres_lie_on_either_side(rotation):
    """Against an intersection test of one's own, face by face."""
    grid = plain_grid(half=8.0, rotation=rotation, stretch=0.5)
    line = np.array([(-6.2, -3.1), (1.3, 4.4), (5.73, -2.9)])
    x, y = (values.ravel() for values in grid.centres)

    def turn(a, b, c):
        return np.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    def cross(p, q):
        return any(
            turn(p, q, a) != turn(p, q, b) and turn(a, b, p) != turn(a, b, q)
            for a, b in itertools.pairwise(line)
        )

    faces = all_faces(grid)
    expected = {
        (a, b)
        for a, b in zip(faces.first.tolist(), faces.second.tolist(), strict=True)
        if cross((x[a], y[a]), (x[b], y[b]))
    }
    found = crossed_faces(grid, LineString(line))
    assert set(zip(found.first.tolist(), found.second.tolist(), strict=True)) == expected
    assert len(found) == len(expected) > 10


@pytest.mark.parametrize("rotation", [0.0, 0.3, np.pi / 4])
@pytest.mark.parametrize("cell", [0.5, 1.0])
def test_scaled_staircases_are_as_long_as_the_circle(rotation, cell):
    circle = Point(0.3, -0.2).buffer(20.0, 64)
    grid = plain_grid(half=30.0, cell=cell, rotation=rotation)
    faces = crossed_faces(grid, circle.exterior)
    factor = staircase_factor(grid, circle.exterior, *face_midpoints(grid, faces))
    assert (faces.width * factor).sum() == pytest.approx(circle.exterior.length, rel=0.01)
    assert faces.width.sum() == pytest.approx(8 * 20.0, rel=0.03)  # unscaled: 4/π too long


@pytest.mark.parametrize("degrees", [0, 15, 30, 45])
def test_scaled_staircases_of_straight_lines(degrees):
    half = 15.0 * np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    line = LineString([-half, half])
    grid = plain_grid(half=20.0, cell=0.25)
    faces = crossed_faces(grid, line)
    factor = staircase_factor(grid, line, *face_midpoints(grid, faces))
    assert (faces.width * factor).sum() == pytest.approx(30.0, rel=0.02)


def test_all_faces_of_a_small_grid_by_hand():
    grid = PlanGrid(np.array([0.0, 1.0, 3.0]), np.array([9.0, 4.0, 0.0]), (0.0, 0.0), 0.0)
    faces = all_faces(grid)
    rows = {
        (a, b): (width, *gaps)
        for a, b, width, gaps in zip(
            faces.first.tolist(),
            faces.second.tolist(),
            faces.width,
            faces.gaps.tolist(),
            strict=True,
        )
    }
    assert rows == {
        (0, 1): (5.0, 0.5, 1.0),
        (2, 3): (4.0, 0.5, 1.0),
        (0, 2): (1.0, 2.5, 2.0),
        (1, 3): (2.0, 2.5, 2.0),
    }
    x, y = face_midpoints(grid, faces)
    assert x.tolist() == [1.0, 1.0, 0.5, 2.0]
    assert y.tolist() == [6.5, 2.0, 4.0, 4.0]


def test_turned_faces_change_sides_with_their_gaps():
    faces = PlanFaces(
        np.array([0, 1]), np.array([5, 6]), np.array([1.0, 2.0]), np.array([[0.1, 0.2], [0.3, 0.4]])
    )
    turned = faces.turned(np.array([False, True]))
    assert turned.first.tolist() == [0, 6]
    assert turned.second.tolist() == [5, 1]
    assert turned.gaps.tolist() == [[0.1, 0.2], [0.4, 0.3]]
    assert turned.width.tolist() == [1.0, 2.0]


@pytest.mark.parametrize("name", ["u", "star"])
def test_reached_cells_are_those_of_a_flood(name):
    grid = plain_grid(half=40.0, cell=2.0)
    ring = crossed_faces(grid, SHAPES[name].exterior)
    for start in (0, int(np.flatnonzero(grid.inside(SHAPES[name]).ravel())[0])):
        mask = np.zeros(grid.area.size, bool)
        mask[start] = True
        reached = barriers_reached(grid, ring, mask)
        assert set(np.flatnonzero(reached).tolist()) == flood(grid, ring, start)


def test_a_graded_grid_around_its_pit_is_watertight():
    outline = shapely.affinity.translate(
        shapely.affinity.rotate(SHAPES["u"], 27), 466000.0, 5918000.0
    )
    choices = PlanChoices(1.0, 1.0, 2.0, 1.3, 10.0, 60.0)
    grid = make_plan_grid(outline, [], np.zeros((0, 2)), choices)
    rim = crossed_faces(grid, outline.exterior)
    inside = grid.inside(outline).ravel()
    assert np.all(inside[rim.first] != inside[rim.second])
    assert not any(inside[i] for i in flood(grid, rim, 0))
    factor = staircase_factor(grid, outline.exterior, *face_midpoints(grid, rim))
    assert (rim.width * factor).sum() == pytest.approx(outline.exterior.length, rel=0.002)
