"""Natural water on the grid: levels, the distant edge, rivers, held levels, recharge."""

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from wellring.inputs.read_site import read_site
from wellring.inputs.site.site import Scheme
from wellring.model.layouts.layout import lay_out
from wellring.model.runs.run import run
from wellring.postprocess.run.heads import unit_head
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results

EAST, NORTH = 466000.0, 5918000.0
PIT = Polygon([(EAST, NORTH), (EAST + 20, NORTH), (EAST + 20, NORTH + 12), (EAST, NORTH + 12)])


@pytest.fixture
def layout_of(plain_site, tmp_path):
    def made(**keys):
        site = read_site(plain_site(tmp_path, **keys))
        return lay_out(
            site, site.description.schemes[0] if site.description.schemes else Scheme(name="dig")
        )

    return made


def centres(layout):
    x, y = (values.ravel() for values in layout.plan.centres)
    return x, y


def exchange(layout, kind):
    (found,) = [item for item in layout.water.exchanges if item.kind == kind]
    return found


# ---- Levels ---------------------------------------------------------------------------------


def test_one_level_is_the_same_everywhere(layout_of):
    assert np.all(layout_of(level=-1.25).natural_heads == -1.25)


@pytest.mark.parametrize(("toward", "along"), [(0, (0, 1)), (90, (1, 0)), (225, (-1, -1))])
def test_a_plane_falls_toward_its_azimuth(plain_site, tmp_path, toward, along):
    path = plain_site(tmp_path)
    text = path.read_text().replace(
        "level = -1.0\n",
        f"plane = {{ point = [{EAST}, {NORTH}], level = -1.0, gradient = 0.01, "
        f"toward = {toward} }}\n",
    )
    path.write_text(text)
    layout = lay_out(read_site(path), Scheme(name="dig"))
    x, y = centres(layout)
    unit = np.array(along) / np.hypot(*along)
    expected = -1.0 - 0.01 * (unit[0] * (x - EAST) + unit[1] * (y - NORTH))
    assert np.allclose(layout.natural_heads, expected[None, :], atol=1e-6)


def test_a_soil_may_have_a_level_of_its_own(layout_of):
    layout = layout_of(
        layers=[("sand", -5.0), ("clay", -7.0), ("gravel", -12.0)],
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (1e-3, 1e-3)},
        water={"levels": {"gravel": 1.5}},
    )
    soil = np.array(layout.ground.soil_of_unit)[layout.ground.layers.unit]
    assert np.all(layout.natural_heads[soil == "gravel"] == 1.5)
    assert np.all(layout.natural_heads[soil != "gravel"] == -1.0)
    edge = exchange(layout, "edge")
    assert np.all((edge.level == 1.5) == (soil.ravel()[edge.node] == "gravel"))


# ---- The distant edge -------------------------------------------------------------------------


def test_the_model_ends_at_the_source_distance(layout_of):
    layout = layout_of(source=60.0)
    x, y = centres(layout)
    near = [PIT.distance(Point(a, b)) < 60.0 for a, b in zip(x, y, strict=True)]
    assert np.array_equal(layout.ground.active.any(axis=0), near)


def test_conductance_of_the_edge_is_that_of_the_way_to_the_source_distance(layout_of):
    """On the straight stretches: k · wet thickness · width over distance left from the centre."""
    layout = layout_of(source=60.0, level=-1.5)
    edge, ground = exchange(layout, "edge"), layout.ground
    n = ground.area.size
    x, y = centres(layout)
    width = np.tile(layout.plan.delr, layout.plan.shape[0])
    checked = 0
    for node, level, conductance in zip(edge.node, edge.level, edge.conductance, strict=True):
        layer, plan = divmod(int(node), n)
        if not (EAST < x[plan] < EAST + 20 and y[plan] > NORTH):
            continue  # only north of the pit, where the way runs straight north
        left = 60.0 - (y[plan] - NORTH - 12)
        bottom, top = ground.layers.edges[layer + 1, plan], ground.layers.edges[layer, plan]
        wet = min(top, -1.5) - bottom
        assert level == -1.5
        assert conductance == pytest.approx(1e-4 * wet * width[plan] / left, rel=1e-6)
        checked += 1
    assert checked > 20


def test_dry_cells_at_the_edge_give_no_water(layout_of):
    layout = layout_of(level=-3.4)
    edge = exchange(layout, "edge")
    bottom = layout.ground.layers.edges[1:].reshape(-1)[edge.node]
    assert bottom.max() < -3.4


def test_a_wall_of_no_flow_edge_leaves_only_what_is_inside(layout_of):
    lines = [[(-300, -30), (300, -30)], [(-300, 50), (300, 50)]]
    layout = layout_of(
        boundaries=[{"kind": "no_flow", "line": line} for line in lines], source=60.0
    )
    x, y = centres(layout)
    expected = [
        NORTH - 30 < b < NORTH + 50 and PIT.distance(Point(a, b)) < 60
        for a, b in zip(x, y, strict=True)
    ]
    assert np.array_equal(layout.ground.active.any(axis=0), expected)
    edge = exchange(layout, "edge")
    plan = edge.node % layout.ground.area.size
    # Water comes from the open ends only, where the distance is reached inside the strip.
    assert np.all((x[plan] < EAST - 20) | (x[plan] > EAST + 40))


def test_an_edge_without_flow_has_no_distant_source(layout_of):
    layout = layout_of(
        water={"edge": "no flow"},
        boundaries=[{"kind": "fixed_head", "line": [(-20, -40), (-20, 50)], "head": -1.0}],
    )
    assert not [item for item in layout.water.exchanges if item.kind == "edge"]
    assert len(layout.water.held) == 1


@pytest.mark.parametrize("cell", [1.0, 3.0])
def test_flow_to_a_well_is_thiems_on_fine_and_coarse_cells(plain_site, tmp_path, cell):
    """A confined sand 10 m thick, 200 m to the source, 5 L/s: s = Q/(2πT)·ln(R/r).

    The source line is the pit's outline at 200 m: a circle of 200 m plus a mean half width of the
    pit of 4 · 5/π m (its support function). The clay above is tight and gives nothing.
    """
    path = plain_site(
        tmp_path, pit=[(-5, -5), (5, -5), (5, 5), (-5, 5)], ground=10.0,
        layers=[("clay", 0.0), ("sand", -10.0)],
        soils={"clay": (1e-12, 1e-12), "sand": (1e-4, 1e-4)},
        level=5.0, formations=[10.0], source=200.0, cell=cell, sublayer=5.0,
        drainage=[
            {"points": [(0, 0)], "screen": [-10.0, 0.0], "diameter": 0.3, "rate": 5e-3}
        ],
    )  # fmt: skip
    (done,) = run(path, figures=False, side_studies=False)
    folder = RunFolder(done.folder)
    last = read_results(folder)[-1]
    assert last.inflow.total == pytest.approx(5e-3, rel=1e-3)
    x, y = folder.centres
    cell_of_well = folder.ledger.wells[0].nodes[0] % x.size
    r = np.hypot(x - x[cell_of_well], y - y[cell_of_well])
    head = unit_head(last.grid, last.heads, folder.unit, 1)
    radius = 200.0 + 4 * 5 / np.pi
    there = (r > 15) & (r < 150)
    expected = 5.0 - 5e-3 / (2 * np.pi * 1e-3) * np.log(radius / r[there])
    assert there.sum() > 100
    drawdown = 5.0 - expected
    assert np.abs(head[there] - expected).max() < 0.01 * drawdown.max()
    assert np.allclose(5.0 - head[there], drawdown, rtol=0.03)


# ---- Rivers, held levels, recharge ---------------------------------------------------------------


def test_a_rivers_conductance_is_that_of_its_bed_and_half_a_cell(layout_of):
    """30 m of river, 4 m wide, over sand: cell by cell length · width / (1/bed + half/kv)."""
    line = [(-10, 30), (20, 30)]
    layout = layout_of(
        soils={"sand": (1e-4, 2e-5)},
        boundaries=[
            {"kind": "river", "line": line, "stage": -0.5, "width": 4.0, "bed_conductance": 1e-5}
        ],
    )
    river, ground = exchange(layout, "river"), layout.ground
    plan, layer = river.node % ground.area.size, river.node // ground.area.size
    wetted = river.conductance * (1e5 + 0.5 * ground.layers.thickness[layer, plan] / 2e-5)
    assert wetted.sum() == pytest.approx(30.0 * 4.0, rel=0.02)
    assert np.all(river.level == -0.5)
    assert river.floor is None
    shape = LineString([(EAST - 10, NORTH + 30), (EAST + 20, NORTH + 30)])
    x, y = centres(layout)
    far = [shape.distance(Point(a, b)) for a, b in zip(x[plan], y[plan], strict=True)]
    assert max(far) < 15


def test_a_river_with_a_bed_sits_in_the_cell_that_holds_the_bed(layout_of):
    layout = layout_of(
        formations=[-4.0],
        boundaries=[
            {"kind": "river", "line": [(-10, 30), (20, 30)], "stage": -0.5, "bed": -2.5,
             "width": 4.0, "bed_conductance": 1e-5},
        ],
    )  # fmt: skip
    river, edges = exchange(layout, "river"), layout.ground.layers.edges
    plan, layer = river.node % layout.ground.area.size, river.node // layout.ground.area.size
    assert np.all(river.floor == -2.5)
    assert np.all((edges[layer, plan] >= -2.5) & (edges[layer + 1, plan] < -2.5))


def test_a_lake_wets_its_own_area(layout_of):
    lake = [(-20, 25), (10, 25), (10, 45), (-20, 45)]
    layout = layout_of(
        soils={"sand": (1.0, 1.0)},
        boundaries=[{"kind": "river", "polygon": lake, "stage": -0.5, "bed_conductance": 1e-6}],
    )
    river = exchange(layout, "river")
    assert river.conductance.sum() == pytest.approx(1e-6 * 30 * 20, rel=0.15)


def test_a_held_level_takes_the_soils_named_and_no_cell_twice(layout_of):
    line = [(-40, 40), (60, 40)]
    layout = layout_of(
        layers=[("sand", -5.0), ("clay", -7.0), ("gravel", -12.0)],
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (1e-3, 1e-3)},
        boundaries=[
            {"kind": "fixed_head", "line": line, "head": -1.2, "soils": ["gravel"]},
            {"kind": "fixed_head", "line": line, "head": -0.7},
        ],
    )
    first, second = layout.water.held
    soil = np.array(layout.ground.soil_of_unit)[layout.ground.layers.unit].ravel()
    assert set(soil[first.node]) == {"gravel"}
    assert not set(first.node.tolist()) & set(second.node.tolist())
    assert set(soil[second.node]) == {"sand", "clay"}
    assert np.all(first.level == -1.2)
    assert np.all(second.level == -0.7)
    # Cells lie centred on the line, in one row.
    y = centres(layout)[1]
    assert np.allclose(y[first.node % y.size], NORTH + 40, atol=1e-5)


def test_recharge_is_the_rate_over_its_area_and_sums(layout_of):
    area = [(-30, 20), (20, 20), (20, 50), (-30, 50)]
    layout = layout_of(
        boundaries=[
            {"kind": "recharge", "polygon": area, "rate": 3e-9},
            {"kind": "recharge", "rate": 1e-9},
        ],
    )
    recharge = layout.water.recharge
    assert set(np.round(np.unique(recharge) * 1e9, 6)) == {1.0, 4.0}
    assert ((recharge > 2e-9) * layout.ground.area).sum() == pytest.approx(50 * 30, rel=0.15)


def test_without_recharge_there_is_none(layout_of):
    assert layout_of().water.recharge is None
