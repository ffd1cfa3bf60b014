"""From a site to everything on a grid: faults with their places, and a site's symmetries."""

import numpy as np
import pytest

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.read_site import read_site
from wellring.inputs.site.site import Scheme
from wellring.model.layouts.layout import lay_out, stage_start
from wellring.model.runs.run import run
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results

EAST, NORTH = 466000.0, 5918000.0


def laid_out(path):
    site = read_site(path)
    schemes = site.description.schemes
    return lay_out(site, schemes[0] if schemes else Scheme(name="dig"))


def faults_of(path):
    with pytest.raises(InputFaults) as caught:
        laid_out(path)
    return caught.value.faults


def wells(**keys):
    return {"points": [(30, 6)], "screen": [-9.0, -3.0], "diameter": 0.3, "hold": -6.0, **keys}


# ---- Faults ---------------------------------------------------------------------------------


def test_a_screen_below_the_model_is_refused_by_name(plain_site, tmp_path):
    path = plain_site(tmp_path, drainage=[wells(screen=[-30.0, -20.0], hold=-25.0)])
    (fault,) = faults_of(path)
    assert fault.place == "schemes.0.drainage.0.screen"
    assert "W 1" in str(fault)
    assert "-30" in fault.value


def test_a_well_outside_the_model_is_refused_by_name(plain_site, tmp_path):
    path = plain_site(tmp_path, source=60.0, drainage=[wells(points=[(30, 6), (115, 6)])])
    (fault,) = faults_of(path)
    assert fault.place.startswith("schemes.0.drainage.0")
    assert "W 2" in str(fault)


def test_a_ring_offset_that_leaves_nothing_is_refused(plain_site, tmp_path):
    ring = wells(ring={"offset": -7.0, "count": 4})
    del ring["points"]
    (fault,) = faults_of(plain_site(tmp_path, drainage=[ring]))
    assert fault.place == "schemes.0.drainage.0.ring.offset"
    assert "nothing is left" in str(fault)


def test_natural_levels_of_two_aquifers_are_not_averaged(plain_site, tmp_path):
    """V10: sand at −2 m and gravel at +3 m under ground at 0 m: their mean 0.5 m stands nowhere."""
    path = plain_site(
        tmp_path,
        layers=(("sand", -6.0), ("clay", -8.0), ("gravel", -12.0)),
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (1e-4, 1e-4)},
    )
    text = path.read_text(encoding="utf-8").replace("level = -1.0", 'piezometers = "p.csv"')
    path.write_text(text, encoding="utf-8")
    rows = [
        f"{soil[0]}{i},{EAST + x},{NORTH + y},{soil},{level},2026-01-01"
        for soil, level in (("sand", -2.0), ("gravel", 3.0))
        for i, (x, y) in enumerate([(0, 0), (20, 0), (0, 12)])
    ]
    (tmp_path / "p.csv").write_text("\n".join(["id,x,y,soil,level,date", *rows]) + "\n")
    (told,) = [text for text in laid_out(path).warnings if "natural water level" in text]
    assert "in gravel is 3.00 m, 3.00 m above the ground" in told


def test_a_floor_above_formation_is_refused(plain_site, tmp_path):
    """The borings end above formation and no base is given: the model would end above the pit."""
    path = plain_site(tmp_path, layers=[("sand", -3.5)], formations=[-2.0])
    path.write_text(
        path.read_text()
        .replace("formation = -2.0", "formation = -5.0")
        .replace("base = -3.5\n", "")
    )
    (fault,) = faults_of(path)
    assert fault.place == "borings.base"
    assert "-5" in fault.expected
    assert "-3.5" in fault.expected


def test_as_many_toes_as_corners_are_asked_for(plain_site, tmp_path):
    wall = {"kind": "sheet pile", "toe": [-6.0, -7.0, -8.0]}
    (fault,) = faults_of(plain_site(tmp_path, walls=[wall]))
    assert fault.place == "walls.0.toe"
    assert "4 corners" in fault.expected
    for toes in ([-6.0, -7.0, -8.0, -7.0], [-6.0, -7.0, -8.0, -7.0, -6.0]):
        layout = laid_out(plain_site(tmp_path, walls=[{**wall, "toe": toes}]))
        assert layout.walls[0].toe.min() == pytest.approx(-8.0, abs=0.2)
        assert layout.walls[0].toe.max() == pytest.approx(-6.0, abs=0.2)


@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize("closed", [False, True])
def test_toes_belong_to_the_corners_as_they_were_given(plain_site, tmp_path, clockwise, closed):
    corners, toes = [(0, 0), (20, 0), (20, 12), (0, 12)], [-6.0, -7.0, -8.0, -9.0]
    if clockwise:
        corners, toes = corners[::-1], toes[::-1]
    if closed:
        toes.append(toes[0])
    path = plain_site(tmp_path, pit=corners, walls=[{"kind": "sheet pile", "toe": toes}])
    layout = laid_out(path)
    wall = layout.walls[0]
    x, y = (values.ravel() for values in layout.plan.centres)
    mid_x = 0.5 * (x[wall.faces.first] + x[wall.faces.second]) - EAST
    mid_y = 0.5 * (y[wall.faces.first] + y[wall.faces.second]) - NORTH
    for corner, toe in (((0, 0), -6.0), ((20, 0), -7.0), ((20, 12), -8.0), ((0, 12), -9.0)):
        near = np.argmin(np.hypot(mid_x - corner[0], mid_y - corner[1]))
        assert wall.toe[near] == pytest.approx(toe, abs=0.3)


def test_a_grid_that_ends_before_the_source_is_refused(plain_site, tmp_path):
    (fault,) = faults_of(plain_site(tmp_path, source=60.0, grid={"extent": 40.0}))
    assert fault.place == "grid.extent"
    assert "60" in fault.expected


def test_several_faults_are_told_at_once(plain_site, tmp_path):
    low = wells(screen=[-30.0, -20.0], hold=-25.0)
    path = plain_site(tmp_path, drainage=[low, {**low, "points": [(-10, 6)]}])
    assert {fault.place for fault in faults_of(path)} == {
        "schemes.0.drainage.0.screen",
        "schemes.0.drainage.1.screen",
    }


# ---- What a layout holds ------------------------------------------------------------------------


def test_a_layout_holds_pit_rim_walls_and_wells(plain_site, tmp_path):
    layout = laid_out(
        plain_site(
            tmp_path,
            formations=[-2.0, -4.0],
            walls=[{"kind": "sheet pile", "toe": -8.0, "stage": "dig 2"}],
            drainage=[wells(name="east", from_stage="dig 2")],
        )
    )
    area = layout.ground.area
    assert area[layout.inside].sum() == pytest.approx(20 * 12, rel=1e-6)
    assert layout.inside[layout.rim.first].all()
    assert not layout.inside[layout.rim.second].any()
    assert (layout.rim.width * layout.rim_factor).sum() == pytest.approx(64.0, rel=1e-3)
    assert layout.walls[0].from_stage == 1
    assert [point.name for point in layout.points] == ["east 1"]
    assert layout.point_stages == [(1, 1)]
    assert any("60 m away" in text for text in layout.assumptions)
    # Kinds of wall that hold no water are no barrier.
    open_site = laid_out(plain_site(tmp_path, walls=[{"kind": "trench box"}]))
    assert open_site.walls == []


def test_every_formation_toe_and_screen_end_is_a_layer_edge(plain_site, tmp_path):
    layout = laid_out(
        plain_site(
            tmp_path, formations=[-1.83, -4.21], walls=[{"kind": "slurry", "toe": -7.77}],
            drainage=[wells(screen=[-9.13, -3.31])],
        )
    )  # fmt: skip
    for level in (-1.83, -4.21, -7.77, -9.13, -3.31):
        assert np.abs(layout.ground.layers.edges - level).min(axis=0).max() < 1e-9


def test_start_heads_are_those_before_where_there_are_any(plain_site, tmp_path):
    layout = laid_out(plain_site(tmp_path, level=-1.0))
    shape = (*layout.ground.active.shape[:1], *layout.plan.shape)
    before = np.full(shape, -2.5)
    before[0, 0, :] = 1e30
    start = stage_start(layout, before)
    assert start.shape == shape
    assert np.all(start[0, 0] == -1.0)
    assert np.all(start[1:] == -2.5)
    assert np.all(stage_start(layout, None) == -1.0)


# ---- Symmetries, through MODFLOW 6 --------------------------------------------------------------

CORNERS = np.array([(-30.0, -20.0), (30.0, -20.0), (30.0, 20.0), (-30.0, 20.0)])
AROUND = np.array([(x, y) for y in (-22.1, 22.1) for x in (-32.1, -10.3, 10.3, 32.1)])
HOUSE = np.array([[45.0, 33.0], [-45.0, 33.0], [45.0, -33.0], [-45.0, -33.0]])


def turned(places, degrees):
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return [tuple(place) for place in np.asarray(places) @ turn.T]


@pytest.fixture(scope="module")
def ring_run(plain_site, tmp_path_factory):
    """A walled pit of 60 by 40 m with eight wells around it, the whole site turned."""

    def solved(degrees):
        path = plain_site(
            tmp_path_factory.mktemp("ring"),
            pit=turned(CORNERS, degrees),
            layers=[("sand", -8.0), ("silt", -9.0), ("gravel", -16.0)],
            soils={"sand": (2e-4, 5e-5), "silt": (1e-7, 5e-8), "gravel": (5e-4, 2e-4)},
            formations=[-5.0],
            source=120.0,
            cell=2.0,
            walls=[{"kind": "sheet pile", "toe": -10.5, "joint_resistance": 2e-7}],
            drainage=[
                {"points": turned(AROUND, degrees), "screen": [-15.0, -9.0], "diameter": 0.4,
                 "hold": -8.0, "pump": {"capacity": 0.02}},
            ],
            points={f"house {i}": xy for i, xy in enumerate(turned(HOUSE, degrees))},
        )  # fmt: skip
        (done,) = run(path, figures=False, side_studies=False)
        return RunFolder(done.folder), done.answers

    return {degrees: solved(degrees) for degrees in (0.0, 37.0)}


def test_a_symmetric_site_has_symmetric_heads(ring_run):
    folder, answers = ring_run[0.0]
    last = answers.stages[-1]
    heads = last.heads.reshape(last.heads.shape[0], *folder.plan_shape)
    drawdown = np.nanmax(-1.0 - heads)
    assert drawdown > 3
    for mirrored in (heads[:, ::-1, :], heads[:, :, ::-1]):
        assert np.array_equal(np.isnan(mirrored), np.isnan(heads))
        assert np.nanmax(np.abs(mirrored - heads)) < 2e-3 * drawdown
    flows = [well.flow[-1] for well in folder.ledger.wells]
    corners, amid = [[flows[i] for i in which] for which in ((0, 3, 4, 7), (1, 2, 5, 6))]
    assert np.ptp(corners) < 2e-3 * corners[0]
    assert np.ptp(amid) < 2e-3 * amid[0]
    # Wells amid a side share the water with more neighbours than those at the corners.
    assert amid[0] < corners[0]


def test_a_turned_site_has_the_same_answers(ring_run):
    _, straight = ring_run[0.0]
    folder, turned_answers = ring_run[37.0]
    assert folder.ledger.grid.rotation == pytest.approx(37.0, abs=1e-6)
    assert straight.answers.keys() == turned_answers.answers.keys()
    compared = 0
    for name, answer in straight.answers.items():
        other = turned_answers.answers[name]
        assert other.ok == answer.ok
        if isinstance(answer.value, float) and answer.kind in ("flow", "length", "level"):
            assert other.value == pytest.approx(answer.value, rel=0.005, abs=1e-6), name
            compared += 1
    assert compared > 10


def test_mirrored_houses_have_one_water_level(ring_run):
    folder, answers = ring_run[0.0]
    key = folder.ledger.stages[-1].folder
    here = answers.answers[f"{key}.level.house 0"].value
    there = answers.answers[f"{key}.level.house 1"].value
    assert here == pytest.approx(there, abs=2e-3)
    results = read_results(folder)
    assert here < results[0].table[folder.plan_cell(EAST + 45, NORTH + 33)]
