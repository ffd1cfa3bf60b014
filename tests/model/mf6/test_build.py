"""MODFLOW 6 files of a stage: what is written is what flopy reads back, in metres and days."""

import dataclasses

import numpy as np
import pytest
from shapely.geometry import LineString

from wellring.inputs.site.walls import Wall
from wellring.model.drainage.points import GridPoint, PointDrive
from wellring.model.grid.excavation import Drains
from wellring.model.grid.walls import WallCells, place_wall, wall_cells
from wellring.model.grid.water import HeadDependent, HeldLevel, WaterBoundaries
from wellring.model.mf6.build import StageModel, cell_kinds, drive_rows, write_stage
from wellring.model.runs.stages import set_drives

DAY = 86400.0


@pytest.mark.parametrize("seed", range(10))
def test_cell_kinds_column_by_column(seed):
    rng = np.random.default_rng(seed)
    present = rng.random((7, 30)) < 0.6
    active = present & (rng.random((7, 30)) < 0.8)
    kinds = cell_kinds(active, present)
    assert kinds.dtype == np.int32
    for layer in range(7):
        for column in range(30):
            if active[layer, column]:
                expected = 1
            elif present[layer, column]:
                expected = 0
            else:  # no thickness: water passes where cells are active above and below
                above, below = active[:layer, column].any(), active[layer + 1 :, column].any()
                expected = -1 if above and below else 0
            assert kinds[layer, column] == expected


def sheet(resistance):
    """A wall that water-tightens by its joints; one joint a metre."""
    return Wall(kind="sheet pile", toe=-20.0, joint_resistance=1 / resistance, pile_width=1.0)


@pytest.fixture
def stage(block):
    """Two soils, four by five cells, a dug corner, every kind of boundary and a wall."""
    grid, ground = block(
        [1.0, 2.0, 3.0, 4.0, 5.0], [2.0, 2.0, 3.0, 3.0], [0.0, -4.0, -9.0], [1e-4, 2e-6],
        [2e-5, 1e-6], planes=[-2.0], rotation=np.radians(25.0), origin=(100.0, 200.0),
    )  # fmt: skip
    n, nlay = grid.area.size, ground.active.shape[0]
    assert nlay == 3
    active = ground.active.copy()
    active[0, 7] = False
    water = WaterBoundaries(
        exchanges=[
            HeadDependent(
                "edge", "edge", np.array([0, n]), np.array([-1.0, -1.5]), np.array([1e-3, 2e-3])
            ),
            HeadDependent(
                "river",
                "river",
                np.array([4, 7]),
                np.full(2, -0.5),
                np.full(2, 5e-4),
                np.full(2, -1.0),
            ),
        ],
        held=[HeldLevel("pond", np.array([2 * n + 19]), np.array([-0.8]))],
        recharge=np.full(n, 1e-9),
    )
    drains = {
        "floor": Drains(np.array([n + 7]), np.array([-2.0]), np.array([3e-4]), np.zeros(1)),
        "faces": Drains(np.array([8]), np.array([-1.98]), np.array([4e-4]), np.array([1.9])),
        "wall": Drains(np.zeros(0, int), np.zeros(0), np.zeros(0), np.zeros(0)),
    }
    inner = grid.to_site(np.array([3.0, 3.0]), np.array([-1.0, 11.0]))
    placed = place_wall(grid, "w", sheet(1e6), LineString(np.column_stack(inner)), np.zeros(n), 0)
    point = GridPoint(
        name="W 1", x=0.0, y=0.0, method="deep wells", radius=0.15, screen=(-8.0, -2.0),
        node=np.array([n + 13, 2 * n + 13]), conductance=np.array([1e-3, 2e-5]), lowest=-6.0,
        wanted=None, pump_capacity=None, screen_k=np.array([1e-4, 2e-6]),
        screen_bottom=np.array([-4.0, -9.0]), screen_top=np.array([-2.0, -4.0]),
    )  # fmt: skip
    return StageModel(
        "one", grid, ground, active, np.full((nlay, *grid.shape), -0.7), water, drains,
        [wall_cells(placed, ground.layers.edges, ground.active)], [point],
        [PointDrive(-6.0, None, "level")],
    )  # fmt: skip


@pytest.fixture
def written(stage, tmp_path):
    """The stage's files, as flopy reads them."""
    import flopy

    write_stage(stage, tmp_path)
    sim = flopy.mf6.MFSimulation.load(sim_ws=str(tmp_path), verbosity_level=0)
    return sim.get_model("gwf")


def test_cells_are_read_back_as_they_were(stage, written):
    layers = stage.ground.layers
    dis = written.dis
    shape = stage.shape3
    assert (dis.nlay.data, dis.nrow.data, dis.ncol.data) == shape
    assert np.allclose(dis.delr.array, [1, 2, 3, 4, 5])
    assert np.allclose(dis.delc.array, [2, 2, 3, 3])
    assert np.allclose(dis.top.array.ravel(), layers.edges[0])
    assert np.allclose(dis.botm.array.reshape(3, -1), layers.edges[1:])
    assert np.array_equal(dis.idomain.array.reshape(3, -1), stage.active.astype(int))
    assert (dis.xorigin.data, dis.yorigin.data) == (100.0, 200.0)
    assert dis.angrot.data == pytest.approx(25.0)


def test_conductivities_are_in_metres_a_day(stage, written):
    assert np.allclose(written.npf.k.array[0], 1e-4 * DAY)
    assert np.allclose(written.npf.k.array[2], 2e-6 * DAY)
    assert np.allclose(written.npf.k33.array[0], 2e-5 * DAY)
    assert np.all(written.npf.icelltype.array == 1)
    assert np.allclose(written.ic.strt.array, -0.7)


def test_whole_numbers_are_written_in_four_bytes(stage, written, tmp_path):
    # MODFLOW 6 reads eight-byte integers as garbage without a word.
    cells = 3 * 4 * 5
    assert (tmp_path / "idomain.bin").stat().st_size == 52 + 4 * cells
    assert (tmp_path / "kh.bin").stat().st_size == 52 + 8 * cells


def test_boundaries_are_read_back_and_leave_out_dug_cells(stage, written):
    ghb = written.get_package("ghb_1").stress_period_data.get_data(0)
    assert [tuple(row["cellid"]) for row in ghb] == [(0, 0, 0), (1, 0, 0)]
    assert np.allclose(ghb["cond"], [1e-3 * DAY, 2e-3 * DAY])
    assert np.allclose(ghb["bhead"], [-1.0, -1.5])
    river = written.get_package("riv_2").stress_period_data.get_data(0)
    assert [tuple(row["cellid"]) for row in river] == [(0, 0, 4)]  # the other cell is dug away
    assert np.allclose(river["rbot"], -1.0)
    held = written.get_package("chd_1").stress_period_data.get_data(0)
    assert tuple(held[0]["cellid"]) == (2, 3, 4)
    assert held[0]["head"] == pytest.approx(-0.8)
    assert np.allclose(written.get_package("rch").recharge.array, 1e-9 * DAY)


def test_drains_are_read_back_with_their_depth(written):
    floor = written.get_package("drn_floor").stress_period_data.get_data(0)
    assert tuple(floor[0]["cellid"]) == (1, 1, 2)
    assert floor[0]["elev"] == pytest.approx(-2.0)
    assert floor[0]["cond"] == pytest.approx(3e-4 * DAY)
    faces = written.get_package("drn_faces").stress_period_data.get_data(0)
    assert float(faces[0]["depth"]) == pytest.approx(1.9)
    assert written.get_package("drn_wall") is None  # empty sets are not written


def test_walls_are_barriers_of_their_leakage_a_day(stage, written):
    rows = written.get_package("hfb").stress_period_data.get_data(0)
    assert len(rows) == 3 * 4 - 1  # three layers, four rows, but for the dug cell
    pairs = [(tuple(row["cellid1"]), tuple(row["cellid2"])) for row in rows]
    assert all(a[0] == b[0] and a[1] == b[1] and {a[2], b[2]} == {1, 2} for a, b in pairs)
    assert np.allclose(rows["hydchr"], 1e-6 * DAY)


def test_two_walls_on_one_face_are_one_barrier_in_series(stage, tmp_path):
    import flopy

    cells = stage.walls[0]
    other = WallCells(
        cells.second, cells.first, cells.area, np.full(cells.area.size, 1 / 3e6), cells.face
    )
    write_stage(dataclasses.replace(stage, walls=[cells, other]), tmp_path)
    sim = flopy.mf6.MFSimulation.load(sim_ws=str(tmp_path), verbosity_level=0)
    rows = sim.get_model("gwf").get_package("hfb").stress_period_data.get_data(0)
    assert len(rows) == 11
    assert np.allclose(rows["hydchr"], DAY / (1e6 + 3e6))


def test_wells_are_read_back_with_conductances_of_their_own(written):
    maw = written.get_package("maw")
    packages, connections = maw.packagedata.get_data(), maw.connectiondata.get_data()
    assert len(packages) == 1
    assert packages[0]["condeqn"].lower() == "specified"
    assert packages[0]["radius"] == pytest.approx(0.15)
    assert [tuple(row["cellid"]) for row in connections] == [(1, 2, 3), (2, 2, 3)]
    assert np.allclose(connections["hk_skin"], [1e-3 * DAY, 2e-5 * DAY])


def test_how_a_well_is_driven_is_rewritten_in_place(stage, tmp_path):
    write_stage(stage, tmp_path)
    for drive in (
        PointDrive(None, 0.01, "pump"),
        PointDrive(None, None, "no inflow"),
        PointDrive(-5.5, None, "level"),
    ):
        set_drives(tmp_path, stage.points, [drive])
        text = (tmp_path / "maw.dat").read_text().lower()
        assert text.count("begin period") == text.count("end period") == 1
        period = text[text.index("begin period") :].split()
        if drive.rate:
            assert float(period[period.index("rate") + 1]) == pytest.approx(-864.0)
            assert "active" in period
        elif drive.held:
            assert float(period[period.index("well_head") + 1]) == -5.5
            assert "constant" in period
        else:
            assert "inactive" in period


def test_drive_rows_by_hand():
    assert drive_rows(3, PointDrive(None, None, "dry"), 1.0) == [(3, "status", "inactive")]
    assert drive_rows(0, PointDrive(2.0, None, "level"), 1.0) == [
        (0, "status", "constant"), (0, "well_head", 2.0),
    ]  # fmt: skip
    assert drive_rows(1, PointDrive(None, 1e-3, "pump"), 1.0) == [
        (1, "status", "active"), (1, "rate", -86.4),
    ]  # fmt: skip


def test_points_that_give_water_are_mirrored_in_the_files():
    """One that may rise to 3 m holds "−3" as its lowest level; its flow goes into the ground."""
    assert drive_rows(0, PointDrive(-3.0, None, "level"), -1.0)[1] == (0, "well_head", 3.0)
    assert drive_rows(0, PointDrive(None, 1e-3, "rate"), -1.0)[1] == (0, "rate", 86.4)


def test_a_boundary_wholly_in_dug_ground_does_no_harm(stage, solver, tmp_path):
    from wellring.model.mf6.solve import solve_stage

    river = stage.water.exchanges[1]
    gone = dataclasses.replace(
        river, node=river.node[1:], level=river.level[1:], conductance=river.conductance[1:],
        floor=river.floor[1:],
    )  # fmt: skip
    water = dataclasses.replace(stage.water, exchanges=[stage.water.exchanges[0], gone])
    write_stage(dataclasses.replace(stage, water=water), tmp_path)
    heads = solve_stage("one", tmp_path, solver, stage.start).heads
    assert heads.reshape(3, -1)[0, 7] > 1e20
    assert np.isfinite(heads).all()
