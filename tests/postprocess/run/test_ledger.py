"""The ledger and the run folder: written, read back, and refused where they are not a run."""

import dataclasses
import json

import numpy as np
import pytest
import shapely

from wellring.inputs.basics.faults import InputFaults
from wellring.postprocess.run.ledger import FORMAT, LEDGER_FILE, Ledger
from wellring.postprocess.run.run_folder import RunFolder


@pytest.fixture(scope="module")
def start(start_run):
    return RunFolder(start_run.folder)


def test_a_ledger_written_and_read_is_the_same(start, tmp_path):
    start.ledger.write(tmp_path)
    again = Ledger.read(tmp_path)
    assert again == start.ledger
    assert dataclasses.asdict(again) == dataclasses.asdict(start.ledger)


def test_a_ledger_keeps_any_name(start, tmp_path):
    name = 'Grün & "Söhne"\n<b>漢字</b> – ½'
    dataclasses.replace(start.ledger, site=name).write(tmp_path)
    assert Ledger.read(tmp_path).site == name


def test_a_ledger_that_tells_no_format_is_of_the_first(start, tmp_path):
    start.ledger.write(tmp_path)
    told = json.loads((tmp_path / LEDGER_FILE).read_text())
    assert told.pop("format") == FORMAT
    (tmp_path / LEDGER_FILE).write_text(json.dumps(told))
    assert Ledger.read(tmp_path) == start.ledger


@pytest.mark.parametrize(
    "text", [None, "", "{", "[]", "{}", '"text"', '{"site": 1}', "null", "\x00\x01"]
)
def test_what_is_no_ledger_is_refused_with_its_folder(tmp_path, text):
    if text is not None:
        (tmp_path / LEDGER_FILE).write_text(text)
    with pytest.raises(InputFaults) as caught:
        _ = RunFolder(tmp_path).ledger
    assert str(tmp_path) in str(caught.value)
    assert "finished run" in str(caught.value)


def test_a_ledger_with_a_part_missing_is_refused(start, tmp_path):
    content = json.loads((start.path / LEDGER_FILE).read_text(encoding="utf-8"))
    del content["grid"]
    (tmp_path / LEDGER_FILE).write_text(json.dumps(content))
    with pytest.raises(InputFaults):
        _ = RunFolder(tmp_path).ledger


def test_names_tie_to_cells_that_are_there(start):
    ledger, grid = start.ledger, start.ledger.grid
    n, nodes = grid.nrow * grid.ncol, grid.nlay * grid.nrow * grid.ncol
    outline = shapely.Polygon(ledger.outline)
    x, y = start.centres
    assert all(outline.contains(shapely.Point(x[i], y[i])) for i in ledger.inside)
    assert start.area[ledger.inside].sum() == pytest.approx(outline.area, rel=1e-6)
    inside = set(ledger.inside)
    assert all(a in inside and b not in inside for a, b in ledger.rim)
    wall = ledger.walls[0]
    assert {frozenset(pair) for pair in wall.faces} == {frozenset(pair) for pair in ledger.rim}
    assert set(wall.toes) == {-6.0}
    for stage in ledger.stages:
        active = start.grid_of(stage).active.reshape(-1)
        for drains in stage.drains.values():
            assert len(drains.nodes) == len(drains.levels)
            assert active[drains.nodes].all()
    for well in ledger.wells:
        assert all(0 <= node < nodes for node in well.nodes)
        assert start.plan_cell(well.x, well.y) == well.nodes[0] % n
        assert len(well.level) == len(well.flow) == len(well.governing) == len(ledger.stages)
        assert len(well.screen_capacity) == len(ledger.stages)


def test_the_first_stage_is_before_the_work(start):
    natural, *dug = start.ledger.stages
    assert natural.formation is None
    assert natural.floor == []
    assert [stage.formation for stage in dug] == [1.0, -1.5]
    assert [stage.day for stage in dug] == [0, 21]
    heads = start.heads(natural)
    assert np.nanmax(np.abs(heads - 2.5)) < 0.01  # still water


def test_dug_cells_are_out_of_the_model_and_nothing_else(start):
    natural = start.grid_of(start.ledger.stages[0])
    for stage in start.ledger.stages[1:]:
        grid = start.grid_of(stage)
        assert np.array_equal(grid.edges, natural.edges)
        gone = natural.active & ~grid.active
        inside = np.zeros(natural.active.shape[1], bool)
        inside[start.ledger.inside] = True
        expected = natural.active & inside & (natural.mid > stage.formation)
        assert np.array_equal(gone, expected)
        assert np.isnan(start.heads(stage)[~grid.active]).all()
        assert np.isfinite(start.heads(stage)[grid.active]).all()


def test_places_turn_with_the_grid(start):
    x, y = np.array([466010.0, 466100.0]), np.array([5918003.0, 5917900.0])
    back = start.to_site(*start.to_local(x, y))
    assert np.allclose(back, (x, y), atol=1e-6)
    assert start.plan_cell(466010.0, 5918003.0) in start.ledger.inside
    assert start.plan_cell(0.0, 0.0) is None


def test_flows_of_a_package_that_is_not_there_are_none(start):
    node, flow = start.package_flows(start.ledger.stages[-1], "nothing")
    assert node.size == flow.size == 0
