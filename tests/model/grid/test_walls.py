"""Walls: leakage by hand, where they stand, and what MODFLOW 6 makes of them."""

from typing import get_args

import numpy as np
import pytest
from shapely.geometry import LineString

from wellring.inputs.site.walls import Wall, WallKind
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.grid.walls import place_wall, wall_cells, wall_leakage
from wellring.model.grid.water import HeldLevel, WaterBoundaries
from wellring.model.mf6.build import StageModel, write_stage
from wellring.model.mf6.solve import solve_stage
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder

KINDS = get_args(WallKind)
TIGHT = [kind for kind in KINDS if Wall(kind=kind, toe=-8.0).holds_water]
LEAKY = [kind for kind in KINDS if kind not in TIGHT]


def sheet(**keys):
    return Wall(**{"kind": "sheet pile", "toe": -8.0, **keys})


def test_leakage_of_interlocks_is_their_resistance_over_the_pile_width():
    # EN 12063: q = ρ·Δp/γw per metre of joint; one joint every b: ρ/b per area (C15: 6e6 s).
    found = wall_leakage(sheet(joint_resistance=1e-7, pile_width=0.6))
    assert found.conductance == pytest.approx(1 / 6e6, rel=1e-9)
    assert not found.assumed
    assert "EN 12063" in found.basis


def test_leakage_of_a_body_is_its_k_over_its_thickness():
    found = wall_leakage(Wall(kind="slurry", toe=-8.0, k=1e-8, thickness=0.8))
    assert found.conductance == pytest.approx(1.25e-8, rel=1e-9)
    assert not found.assumed


@pytest.mark.parametrize("kind", TIGHT)
def test_leakage_left_out_is_assumed_and_said_to_be(kind):
    found = wall_leakage(Wall(kind=kind, toe=-8.0))
    assert found.assumed
    assert 1e-9 < found.conductance < 1e-5
    assert found.basis


def test_a_slurry_wall_is_tighter_than_secant_piles_and_these_than_plain_interlocks():
    order = [
        wall_leakage(Wall(kind=kind, toe=-8.0)).conductance
        for kind in ("slurry", "secant pile", "sheet pile")
    ]
    assert order == sorted(order)


@pytest.mark.parametrize("kind", LEAKY)
@pytest.mark.parametrize("body", [{}, {"k": 1e-9, "thickness": 0.5}])
def test_kinds_that_hold_no_water_have_no_leakage(kind, body):
    wall = Wall(kind=kind, **body)
    assert not wall.holds_water
    with pytest.raises(ValueError, match="not water"):
        wall_leakage(wall)


def unit_grid(size=20, rotation=0.0):
    edges = np.arange(size + 1.0)
    return PlanGrid(edges, edges[::-1].copy(), (0.0, 0.0), rotation)


def test_toes_given_by_corner_run_straight_between_them():
    grid = unit_grid()
    line = LineString([(5, 5), (15, 5), (15, 15)])
    wall = sheet(toe=(-4.0, -8.0, -6.0))
    placed = place_wall(grid, "w", wall, line, np.zeros(400), 0)
    x, y = grid.centres
    mean = [0.5 * (v.ravel()[placed.faces.first] + v.ravel()[placed.faces.second]) for v in (x, y)]
    for px, py, toe in zip(*mean, placed.toe, strict=True):
        if py < 6 and px < 14.4:  # on the first stretch
            assert toe == pytest.approx(-4.0 - 0.4 * (px - 5), abs=0.05)
        elif py > 6:
            assert toe == pytest.approx(-8.0 + 0.2 * (py - 5), abs=0.05)
    assert placed.toe.min() < -7.5
    assert placed.toe.max() > -4.5


def test_a_closed_wall_comes_back_to_its_first_toe():
    grid = unit_grid()
    line = LineString([(5, 5), (15, 5), (15, 15), (5, 15), (5, 5)])
    placed = place_wall(grid, "w", sheet(toe=(-4.0, -6.0, -8.0, -6.0)), line, np.zeros(400), 0)
    x = 0.5 * (
        grid.centres[0].ravel()[placed.faces.first] + grid.centres[0].ravel()[placed.faces.second]
    )
    y = 0.5 * (
        grid.centres[1].ravel()[placed.faces.first] + grid.centres[1].ravel()[placed.faces.second]
    )
    west = (x < 5.5) & (y > 5.9) & (y < 14.9)
    assert west.sum() >= 8
    assert np.allclose(placed.toe[west], -4.0 - 0.2 * (y[west] - 5), atol=0.06)


def test_a_window_leaks_more_along_its_stretch_only():
    grid = unit_grid()
    line = LineString([(2, 10), (18, 10)])
    tight = place_wall(grid, "w", sheet(), line, np.zeros(400), 0)
    wall = sheet(windows=[{"start": 4.0, "end": 7.0, "factor": 50.0}])
    leaky = place_wall(grid, "w", wall, line, np.zeros(400), 0)
    ratio = leaky.conductance / tight.conductance
    x = grid.centres[0].ravel()[leaky.faces.first]
    along = x - 2.0
    assert np.array_equal(ratio > 1, (along > 4) & (along < 7))
    assert np.allclose(ratio[ratio > 1], 50.0)
    assert (ratio > 1).sum() == 3


@pytest.mark.parametrize(("start", "end"), [(4.3, 4.4), (4.6, 5.6), (0.0, 0.2), (15.5, 16.0)])
def test_a_window_leaks_its_length_wherever_it_lies(start, end):
    """Narrower than a cell or not, a window of length l adds (factor − 1)·l·ρ/b to the wall."""
    grid = unit_grid()
    line = LineString([(2, 10), (18, 10)])
    tight = place_wall(grid, "w", sheet(), line, np.zeros(400), 0)
    wall = sheet(windows=[{"start": start, "end": end, "factor": 50.0}])
    leaky = place_wall(grid, "w", wall, line, np.zeros(400), 0)
    added = (leaky.conductance - tight.conductance).sum()  # faces are 1 m wide
    assert added == pytest.approx(49.0 * (end - start) * tight.conductance[0], rel=1e-9)


def test_walls_stand_between_toe_and_top(block):
    grid, ground = block([1.0] * 20, [1.0] * 20, [0.0, -10.0], planes=np.arange(-9.5, 0, 0.5))
    line = LineString([(10, 0), (10, 20)])
    cases = ((None, 8.0), (-2.0, 6.0))  # from the ground down to −8; from −2 down to −8
    for top, height in cases:
        placed = place_wall(grid, "w", sheet(top=top), line, np.zeros(400), 0)
        cells = wall_cells(placed, ground.layers.edges, ground.layers.present)
        assert cells.area.sum() == pytest.approx(20.0 * height)
        layer = cells.first // 400
        level = ground.layers.mid[layer, cells.first % 400]
        assert level.min() > -8
        assert level.max() < (0.0 if top is None else top)
        x = grid.centres[0].ravel()
        assert np.all(np.abs(x[cells.first % 400] - x[cells.second % 400]) == 1.0)


@pytest.mark.parametrize("degrees", [0.0, 20.0, 45.0])
def test_leakage_through_an_oblique_wall_is_that_of_its_true_length(degrees):
    grid = unit_grid(40)
    angle = np.radians(degrees)
    half = 14.0 * np.array([np.cos(angle), np.sin(angle)])
    line = LineString([20 - half, 20 + half])
    placed = place_wall(
        grid, "w", sheet(joint_resistance=1e-7, pile_width=0.5), line, np.zeros(1600), 0
    )
    assert (placed.conductance * placed.faces.width).sum() == pytest.approx(2e-7 * 28.0, rel=0.04)


# ---- Through MODFLOW 6: 100 m of sand, 10 m thick and full, 6 m of head, walls across it --------


def drained(folder, block, solver, walls, k=1e-4):
    """Heads along the strip and the flow per metre run [m²/s]."""
    grid, ground = block([1.0] * 101, [1.0], [0.0, -10.0], k)
    left = HeldLevel("left", np.array([0]), np.array([16.0]))
    right = HeldLevel("right", np.array([100]), np.array([10.0]))
    placed = [
        place_wall(grid, "w", wall, LineString([(x, -5), (x, 6)]), np.zeros(101), 0)
        for wall, x in walls
    ]
    model = StageModel(
        "strip",
        grid,
        ground,
        ground.active,
        np.full((1, 1, 101), 13.0),
        WaterBoundaries(held=[left, right]),
        walls=[wall_cells(item, ground.layers.edges, ground.active) for item in placed],
    )
    write_stage(model, folder / "mf6" / "strip")
    heads = solve_stage("strip", folder / "mf6" / "strip", solver, model.start).heads.ravel()
    entry = StageEntry("strip", "strip", None, None, None, [], {}, "", 0.0, 0.0)
    _, flow = RunFolder(folder).package_flows(entry, "chd_1")
    return heads, float(flow.sum())


def test_an_interlocked_wall_takes_its_share_of_the_head(block, solver, tmp_path):
    # Catalogue of outside checks, C15: q = ΔH/(L/K + R)·b, R = 0.6/1e-7 s.
    wall = sheet(joint_resistance=1e-7, pile_width=0.6, toe=-20.0)
    heads, q = drained(tmp_path, block, solver, [(wall, 50.0)])
    assert q == pytest.approx(8.57143e-6, rel=0.002)
    loss = heads[49] - heads[50] - q / (10 * 1e-4)
    assert loss == pytest.approx(5.14286, rel=0.002)


def test_a_slurry_wall_takes_nearly_all_of_it(block, solver, tmp_path):
    wall = Wall(kind="slurry", toe=-20.0, k=1e-8, thickness=0.8)
    heads, q = drained(tmp_path, block, solver, [(wall, 50.0)])
    assert q == pytest.approx(7.40741e-7, rel=0.005)
    assert heads[49] - heads[50] == pytest.approx(5.92593, rel=0.002)


def test_two_walls_on_one_face_act_in_series(block, solver, tmp_path):
    sheets = sheet(joint_resistance=1e-7, pile_width=0.6, toe=-20.0)  # 6e6 s
    body = Wall(kind="slurry", toe=-20.0, k=1e-7, thickness=0.8)  # 8e6 s
    _, q = drained(tmp_path, block, solver, [(sheets, 50.0), (body, 50.0)])
    assert q == pytest.approx(6.0 * 10 / (100 / 1e-4 + 6e6 + 8e6), rel=0.002)
