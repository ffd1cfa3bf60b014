"""Inflow by place: what comes in at the edge is what is taken, whichever way it is counted."""

import numpy as np
import pytest
import shapely

from wellring.model.runs.run import run
from wellring.postprocess.run.inflow import face_flow, inflow, water_balance
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results


@pytest.fixture(scope="module")
def start(start_run):
    return RunFolder(start_run.folder)


@pytest.fixture(scope="module")
def open_pit(plain_site, tmp_path_factory):
    """An open pit drained from its floor and faces alone, in sand over gravel."""
    path = plain_site(
        tmp_path_factory.mktemp("open"),
        layers=[("sand", -6.0), ("gravel", -12.0)],
        soils={"sand": (1e-4, 5e-5), "gravel": (3e-4, 1e-4)},
        formations=[-3.0],
    )
    (done,) = run(path, figures=False, side_studies=False)
    return RunFolder(done.folder)


@pytest.fixture(scope="module")
def leaking_pit(plain_site, tmp_path_factory):
    """A pit behind a leaky wall that hangs in sand, wells within and without, and rain."""
    path = plain_site(
        tmp_path_factory.mktemp("leaky"),
        formations=[-4.0],
        walls=[{"kind": "sheet pile", "toe": -7.0, "joint_resistance": 1e-5}],
        drainage=[
            {"name": "in", "points": [(4, 6), (16, 6)], "screen": [-10.0, -6.0],
             "diameter": 0.3, "rate": 2e-4},
            {"name": "out", "points": [(-3, 6)], "screen": [-10.0, -2.0], "diameter": 0.3,
             "rate": 5e-4},
        ],
        boundaries=[{"kind": "recharge", "rate": 5e-9}],
    )  # fmt: skip
    (done,) = run(path, figures=False, side_studies=False)
    return RunFolder(done.folder)


def from_boundaries(folder, stage):
    """All water the natural boundaries give [m³/s]."""
    return sum(
        folder.package_flows(stage, entry.package)[1].sum() for entry in folder.ledger.boundaries
    )


@pytest.mark.parametrize("name", ["start", "open_pit", "leaking_pit"])
def test_all_that_is_taken_comes_from_the_boundaries(name, request):
    folder = request.getfixturevalue(name)
    for stage in folder.ledger.stages[1:]:
        found = inflow(folder, stage)
        assert found.total > 0
        assert found.total == pytest.approx(from_boundaries(folder, stage), rel=1e-3)
        assert found.total == pytest.approx(found.floor + found.faces + found.wall + found.wells)


@pytest.mark.parametrize("name", ["start", "open_pit", "leaking_pit"])
def test_the_water_balance_closes(name, request):
    folder = request.getfixturevalue(name)
    for stage in folder.ledger.stages:
        rows = water_balance(folder, stage)
        came, went = (sum(row[i] for row in rows) for i in (1, 2))
        assert came == pytest.approx(went, rel=1e-3, abs=1e-9)
        assert all(row[1] >= 0 and row[2] >= 0 for row in rows)


def wells_within(folder):
    outline = shapely.Polygon(folder.ledger.outline)
    return [well for well in folder.ledger.wells if outline.contains(shapely.Point(well.x, well.y))]


def test_what_crosses_the_outline_is_taken_inside(start, leaking_pit, open_pit):
    for folder in (start, open_pit, leaking_pit):
        stage, number = folder.ledger.stages[-1], len(folder.ledger.stages) - 1
        found = inflow(folder, stage)
        pumped = sum(well.flow[number] for well in wells_within(folder))
        rain = 0.0
        if any(entry.package == "rch" for entry in folder.ledger.boundaries):
            rain = 5e-9 * folder.area[folder.ledger.inside].sum()
        crossing = found.through_wall + found.under_toe + found.open_ground
        assert crossing + rain == pytest.approx(found.floor + pumped, rel=1e-3)


def test_ways_in_are_told_apart_by_what_stands_there(start, open_pit, leaking_pit):
    no_wall = inflow(open_pit, open_pit.ledger.stages[-1])
    assert no_wall.wall == no_wall.through_wall == no_wall.under_toe == 0.0
    assert no_wall.faces > 0
    assert no_wall.open_ground > 0
    leaky = inflow(leaking_pit, leaking_pit.ledger.stages[-1])
    assert leaky.faces == 0.0
    assert leaky.wall > 0
    assert leaky.through_wall > 0
    assert leaky.under_toe > leaky.through_wall
    assert leaky.open_ground == 0.0
    tight = inflow(start, start.ledger.stages[-1])
    assert tight.under_toe > 10 * tight.through_wall


def test_flow_through_the_wall_is_its_leakage_times_the_head_across_it(leaking_pit):
    """Below the floor: face by face, area · ρ/b · difference of the heads behind half cells."""
    folder = leaking_pit
    stage = folder.ledger.stages[-1]
    result = read_results(folder)[-1]
    wall = folder.ledger.walls[0]
    assert wall.leakage == pytest.approx(1e-5 / 0.6)
    delr, delc = np.diff(folder.ledger.grid.x_edges), -np.diff(folder.ledger.grid.y_edges)
    inside = set(folder.ledger.inside)
    total = 0.0
    for a, b in wall.faces:
        into, out = (a, b) if a in inside else (b, a)
        beside = abs(a - b) == 1
        width = delc[a // delr.size] if beside else delr[a % delr.size]
        halves = [0.5 * (delr[i % delr.size] if beside else delc[i // delr.size]) for i in (a, b)]
        for layer in range(result.heads.shape[0]):
            if not (result.grid.active[layer, a] and result.grid.active[layer, b]):
                continue
            top, bottom = result.grid.top[layer, into], result.grid.bottom[layer, into]
            if 0.5 * (top + bottom) < -7.0:
                continue
            heads = result.heads[layer, [into, out]]
            wet = min(top, heads.max()) - bottom
            resistance = sum(halves) / 1e-4 + 0.6 / 1e-5
            total += width * max(wet, 0.0) * (heads[1] - heads[0]) / resistance
    assert inflow(folder, stage).through_wall == pytest.approx(total, rel=0.01)


def test_floor_drains_give_conductance_times_head_above_them(open_pit):
    stage, result = open_pit.ledger.stages[-1], read_results(open_pit)[-1]
    drains = stage.drains["floor"]
    plan = np.array(drains.nodes) % open_pit.area.size
    heads = result.heads.reshape(-1)[drains.nodes]
    thickness = (result.grid.top - result.grid.bottom).reshape(-1)[drains.nodes]
    above = np.maximum(heads - np.array(drains.levels), 0.0)
    expected = (5e-5 * open_pit.area[plan] / (0.5 * thickness) * above).sum()
    assert np.allclose(drains.levels, -3.0)
    assert inflow(open_pit, stage).floor == pytest.approx(expected, rel=2e-3)


def test_parts_by_layer_sum_to_the_parts(start, open_pit, leaking_pit):
    for folder in (start, open_pit, leaking_pit):
        for stage in folder.ledger.stages[1:]:
            found = inflow(folder, stage)
            labels = {entry.label for entry in folder.ledger.units}
            for part, units in found.by_unit.items():
                assert sum(units.values()) == pytest.approx(getattr(found, part), abs=1e-12)
                assert set(units) <= labels


def test_the_floor_of_the_open_pit_draws_on_the_sand_alone(open_pit):
    found = inflow(open_pit, open_pit.ledger.stages[-1])
    (label,) = found.by_unit["floor"]
    assert label == open_pit.ledger.units[0].label


def test_wells_give_what_the_ledger_says(start, leaking_pit):
    for folder in (start, leaking_pit):
        for number, stage in enumerate(folder.ledger.stages):
            if number == 0:
                continue
            flows = sum(well.flow[number] for well in folder.ledger.wells)
            assert inflow(folder, stage).wells == pytest.approx(flows, rel=1e-3)
    asked = [well.flow[-1] for well in leaking_pit.ledger.wells]
    assert asked == pytest.approx([2e-4, 2e-4, 5e-4], rel=1e-6)


def test_a_face_flow_is_the_other_sides_with_its_sign_turned(open_pit):
    stage = open_pit.ledger.stages[-1]
    n = open_pit.area.size
    rim = np.array(open_pit.ledger.rim)
    last = (open_pit.ledger.grid.nlay - 1) * n
    into, out = rim[:, 0] + last, rim[:, 1] + last
    flow = face_flow(open_pit, stage, into, out)
    assert np.allclose(flow, -face_flow(open_pit, stage, out, into))
    assert flow.sum() > 0
    far = np.full(len(rim), 0)
    assert np.all(face_flow(open_pit, stage, into, far) == 0.0)


def test_before_the_work_nothing_is_taken(start):
    found = inflow(start, start.ledger.stages[0])
    assert found.total == 0.0
    assert str(found.floor) == "0.0"  # and not "-0.0"
