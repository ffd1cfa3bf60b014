"""The dig: floor and face conductances by hand, walls in series, nothing above the ground."""

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from wellring.inputs.read_site import read_site
from wellring.inputs.site.site import Scheme
from wellring.inputs.site.walls import Wall
from wellring.model.grid.excavation import dig_stage
from wellring.model.grid.faces import crossed_faces, face_midpoints, staircase_factor
from wellring.model.grid.walls import place_wall, wall_leakage
from wellring.model.layouts.layout import lay_out

PIT = Polygon([(6, 6), (14, 6), (14, 12), (6, 12)])
KH, KV = 2e-4, 5e-5


def pit_on(grid, outline=PIT):
    inside = grid.inside(outline).ravel()
    rim = crossed_faces(grid, outline.exterior)
    rim = rim.turned(~inside[rim.first])
    return inside, rim, staircase_factor(grid, outline.exterior, *face_midpoints(grid, rim))


@pytest.fixture
def ground_block(block):
    """Twenty by twenty cells of 1 m; ground at 0, planes each metre down to −10."""
    return block([1.0] * 20, [1.0] * 20, [0.0, -10.0], KH, KV, planes=np.arange(-9.0, 0.0))


def test_what_lies_above_formation_within_the_pit_is_gone(ground_block):
    grid, ground = ground_block
    inside, rim, factor = pit_on(grid)
    dig = dig_stage(ground, inside, rim, factor, -3.0, [])
    expected = np.zeros((10, 400), bool)
    for layer in range(3):
        expected[layer] = inside
    assert inside.sum() == 48
    assert np.array_equal(dig.gone, expected)


def test_the_floor_drains_at_formation_through_half_a_cell(ground_block):
    grid, ground = ground_block
    dig = dig_stage(ground, *pit_on(grid), -3.0, [])
    assert len(dig.floor) == 48
    assert np.all(dig.floor.node // 400 == 3)
    assert np.allclose(dig.floor.level, -3.0)
    assert np.allclose(dig.floor.conductance, KV * 1.0 / 0.5)
    assert np.array_equal(np.sort(dig.floor_plan), np.flatnonzero(pit_on(grid)[0]))


def test_open_faces_drain_each_dug_cell_of_the_rim_through_half_a_cell(ground_block):
    grid, ground = ground_block
    inside, rim, factor = pit_on(grid)
    dig = dig_stage(ground, inside, rim, factor, -3.0, [])
    assert len(dig.faces) == 3 * (8 + 8 + 6 + 6)
    assert len(dig.wall) == 0
    assert np.allclose(dig.faces.conductance, KH * 1.0 / 0.5)  # 1 m² of face, 0.5 m deep
    assert not inside[dig.faces.node % 400].any()
    bottom = -(dig.faces.node // 400) - 1.0
    assert np.all((dig.faces.level > bottom) & (dig.faces.level < bottom + 0.1))
    assert np.all(dig.faces.level + dig.faces.depth <= bottom + 1.0)


def test_a_pit_at_ground_level_has_a_floor_and_no_faces(ground_block):
    grid, ground = ground_block
    dig = dig_stage(ground, *pit_on(grid), 0.0, [])
    assert not dig.gone.any()
    assert len(dig.faces) == len(dig.wall) == 0
    assert np.all(dig.floor.node < 400)
    assert np.allclose(dig.floor.level, 0.0)


def test_no_drain_lies_above_the_ground_or_outside_its_cell(ground_block):
    grid, ground = ground_block
    for formation in (0.0, 2.0, -0.5, -3.02, -8.0):
        dig = dig_stage(ground, *pit_on(grid), formation, [])
        for part in (dig.floor, dig.faces):
            layer, plan = part.node // 400, part.node % 400
            assert np.all(part.level <= ground.layers.edges[layer, plan] + 1e-9)
            assert np.all(part.level > ground.layers.edges[layer + 1, plan])
            assert not dig.gone.reshape(-1)[part.node].any()


def test_formation_inside_a_cell_drains_there(ground_block):
    """Formation −3.3: the cell from −3 to −4 stays (its middle is lower) and drains at −3.3."""
    grid, ground = ground_block
    dig = dig_stage(ground, *pit_on(grid), -3.3, [])
    assert np.all(dig.floor.node // 400 == 3)
    assert np.allclose(dig.floor.level, -3.3)


def leaky(**keys):
    return Wall(
        **{"kind": "sheet pile", "toe": -8.0, "joint_resistance": 6e-7, "pile_width": 0.6, **keys}
    )


def ring_wall(grid, wall, outline=PIT):
    return place_wall(
        grid, "w", wall, LineString(outline.exterior.coords), np.zeros(grid.area.size), 0
    )


def test_behind_a_wall_its_resistance_comes_in_series(ground_block):
    grid, ground = ground_block
    dig = dig_stage(ground, *pit_on(grid), -3.0, [ring_wall(grid, leaky())])
    assert len(dig.faces) == 0
    assert len(dig.wall) == 3 * 28
    # Half a cell of sand, 0.5/2e-4 s, and the wall, 1e6 s, on 1 m².
    assert np.allclose(dig.wall.conductance, 1.0 / (2500.0 + 1e6))
    assert np.allclose(dig.wall.level, -(dig.wall.node // 400) - 0.5)


def test_two_walls_on_the_rim_act_in_series(ground_block):
    grid, ground = ground_block
    second = Wall(kind="slurry", toe=-8.0, k=1e-7, thickness=0.8)  # 8e6 s
    walls = [ring_wall(grid, leaky()), ring_wall(grid, second)]
    dig = dig_stage(ground, *pit_on(grid), -3.0, walls)
    assert np.allclose(dig.wall.conductance, 1.0 / (2500.0 + 1e6 + 8e6))


def test_above_a_low_wall_and_below_a_short_one_the_face_is_open(ground_block):
    grid, ground = ground_block
    low = dig_stage(ground, *pit_on(grid), -3.0, [ring_wall(grid, leaky(top=-1.0))])
    assert np.all(low.faces.node // 400 == 0)
    assert np.all(low.wall.node // 400 >= 1)
    short = dig_stage(ground, *pit_on(grid), -5.0, [ring_wall(grid, leaky(toe=-2.0))])
    assert np.all(short.faces.node // 400 >= 2)
    assert np.all(short.wall.node // 400 < 2)


def test_a_wall_on_one_side_leaves_the_others_open(ground_block):
    grid, ground = ground_block
    side = LineString([(6, 6), (14, 6)])
    placed = place_wall(grid, "w", leaky(), side, np.zeros(400), 0)
    dig = dig_stage(ground, *pit_on(grid), -3.0, [placed])
    assert len(dig.wall) == 3 * 8
    assert len(dig.faces) == 3 * 20


@pytest.mark.parametrize("degrees", [0, 45])
def test_leakage_of_an_oblique_walled_pit_is_that_of_its_true_perimeter(block, degrees):
    """A tight wall in permeable ground: all conductance is the wall's, 40 m long and 3 m high."""
    grid, ground = block([0.5] * 60, [0.5] * 60, [0.0, -10.0], 1e-1, planes=np.arange(-9.0, 0.0))
    turn, half = np.radians(degrees), 5.0 * np.sqrt(2)
    angles = turn + np.pi / 4 + np.arange(4) * np.pi / 2
    outline = Polygon(15.0 + half * np.column_stack([np.cos(angles), np.sin(angles)]))
    wall = leaky()
    dig = dig_stage(ground, *pit_on(grid, outline), -3.0, [ring_wall(grid, wall, outline)])
    true = wall_leakage(wall).conductance * 40.0 * 3.0
    assert dig.wall.conductance.sum() == pytest.approx(true, rel=0.04)


def test_open_faces_of_an_oblique_pit_have_its_true_area(block):
    grid, ground = block([0.5] * 60, [0.5] * 60, [0.0, -10.0], 1e-4, planes=np.arange(-9.0, 0.0))
    half = 5.0 * np.sqrt(2)
    outline = Polygon([(15 - half, 15), (15, 15 - half), (15 + half, 15), (15, 15 + half)])
    dig = dig_stage(ground, *pit_on(grid, outline), -3.0, [])
    assert dig.faces.conductance.sum() == pytest.approx(1e-4 / 0.25 * 40.0 * 3.0, rel=0.04)


def test_a_notch_narrower_than_a_cell_gets_no_drain_in_dug_ground(plain_site, tmp_path):
    notched = [(0, 0), (20, 0), (20, 12), (10.2, 12), (10.2, 4), (10, 4), (10, 12), (0, 12)]
    layout = lay_out(read_site(plain_site(tmp_path, pit=notched)), Scheme(name="dig"))
    dig = dig_stage(layout.ground, layout.inside, layout.rim, layout.rim_factor, -4.0, [])
    assert not dig.gone.reshape(-1)[dig.faces.node].any()
    assert len(dig.faces) > 0
