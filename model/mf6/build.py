"""One stage as MODFLOW 6 files: m and days inside the files, binary arrays, one folder.

flopy is used here and nowhere else in the builder.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.inputs.measured.series import Series
from wellring.model.drainage.points import GridPoint, PointDrive
from wellring.model.grid.excavation import Drains
from wellring.model.grid.ground import Ground
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.grid.walls import WallCells
from wellring.model.grid.water import WaterBoundaries
from wellring.model.limits.meet_limits import SMOOTHED
from wellring.model.mf6.binary_arrays import array_file, write_array
from wellring.model.mf6.stage_lists import stage_lists
from wellring.model.mf6.system_errors import system_errors
from wellring.postprocess.run.run_folder import BUDGET_CSV, WELLS_CSV

if TYPE_CHECKING:
    import flopy
    import pandas

Floats = NDArray[np.float64]

MODEL = "gwf"
"""Name of the groundwater model inside every stage folder."""


@dataclass
class StageModel:
    """Everything one stage's MODFLOW 6 model is written from.

    `active` is (nlay, n): cells that take part in this stage, excavated ones left out.
    """

    name: str
    grid: PlanGrid
    ground: Ground
    active: NDArray[np.bool_]
    start: Floats
    water: WaterBoundaries
    drains: dict[str, Drains] = field(default_factory=dict)
    walls: Sequence[WallCells] = ()
    points: Sequence[GridPoint] = ()
    drives: Sequence[PointDrive] = ()
    well_levels: Sequence[float] = ()
    """Level [m] the solver begins with in each point; from cells and drives where left out."""

    @property
    def shape3(self) -> tuple[int, int, int]:
        """(nlay, nrow, ncol)."""
        return (self.active.shape[0], *self.grid.shape)


_FLOPY = threading.Lock()
"""flopy's own tables of packages are made at the first model, and not safe from other threads."""


def write_stage(
    stage: StageModel,
    folder: Path,
    days: tuple[float, float] | None = None,
    periods: int = 1,
) -> None:
    """Write a stage's MODFLOW 6 input into `folder` (made if missing).

    The solver's settings (.ims), the model's options and the start heads are written by
    :mod:`wellring.model.mf6.solve`, which may write them again for another attempt.

    Parameters
    ----------
    days : the stage is followed from one day to another: also write storage and what changes in
        time, save the heads of every step, and the budget of every step as CSV.
    periods : stress periods that this time is cut into; the flows of the last one are saved.
    """
    with _FLOPY, system_errors():
        _write_stage(stage, folder, days, periods)


def _write_stage(
    stage: StageModel, folder: Path, days: tuple[float, float] | None, periods: int
) -> None:
    import flopy

    folder.mkdir(parents=True, exist_ok=True)
    sim = flopy.mf6.MFSimulation(
        sim_name=MODEL, sim_ws=str(folder), exe_name="mf6", verbosity_level=0
    )
    flopy.mf6.ModflowTdis(
        sim, time_units="days", nper=periods, perioddata=[(1.0, 1, 1.0)] * periods
    )
    gwf = flopy.mf6.ModflowGwf(
        sim, modelname=MODEL, save_flows=True, newtonoptions="newton under_relaxation"
    )
    flopy.mf6.ModflowIms(sim)
    _write_cells(gwf, stage, folder)
    _write_recharge(gwf, stage, days)
    _write_lists(gwf, stage, days)
    if stage.points:
        write_points(gwf, stage)
    kept = ("HEAD", "ALL" if days else "LAST")
    flopy.mf6.ModflowGwfoc(
        gwf,
        head_filerecord=f"{MODEL}.hds",
        budget_filerecord=f"{MODEL}.bud",
        budgetcsv_filerecord=BUDGET_CSV if days else None,
        saverecord={0: [kept]} | {periods - 1: [kept, ("BUDGET", "LAST")]},
        printrecord={0: [("BUDGET", "LAST")]},
    )
    if days is not None:
        write_storage(gwf, stage, folder)
    sim.write_simulation(silent=True)


def write_storage(gwf: flopy.mf6.ModflowGwf, stage: StageModel, folder: Path) -> None:
    """Storage from the soils, for a model followed in time."""
    import flopy

    arrays = {}
    for name, values in (("ss", stage.ground.ss), ("sy", stage.ground.sy)):
        arrays[name] = _array(stage, folder, values, name)
    flopy.mf6.ModflowGwfsto(
        gwf,
        iconvert=1,
        **arrays,
        transient={0: True},
    )


def _array(stage: StageModel, folder: Path, values: NDArray, name: str) -> dict[str, Any]:
    """Write an array and tell flopy of its file: flopy itself would write one a layer."""
    write_array(folder, name, values.reshape(-1, stage.grid.shape[1]))
    return {"filename": array_file(name), "binary": True, "factor": 1}


def _write_cells(gwf: flopy.mf6.ModflowGwf, stage: StageModel, folder: Path) -> None:
    import flopy

    grid, layers = stage.grid, stage.ground.layers
    nlay, nrow, ncol = stage.shape3
    flopy.mf6.ModflowGwfdis(
        gwf,
        length_units="meters",
        nlay=nlay,
        nrow=nrow,
        ncol=ncol,
        delr=grid.delr,
        delc=grid.delc,
        xorigin=grid.origin[0],
        yorigin=grid.origin[1],
        angrot=float(np.degrees(grid.rotation)),
        top=_array(stage, folder, layers.edges[0], "top"),
        botm=_array(stage, folder, layers.edges[1:], "bottom"),
        idomain=_array(stage, folder, cell_kinds(stage.active, layers.present), "idomain"),
    )
    flopy.mf6.ModflowGwfnpf(
        gwf,
        icelltype=1,
        k=_array(stage, folder, stage.ground.kh * DAY, "kh"),
        k33=_array(stage, folder, stage.ground.kv * DAY, "kv"),
    )
    flopy.mf6.ModflowGwfic(gwf, strt=_array(stage, folder, stage.start, "start"))


def cell_kinds(active: NDArray[np.bool_], present: NDArray[np.bool_]) -> NDArray[np.int32]:
    """MODFLOW 6 cell kinds (nlay, n): 1 active, 0 left out, −1 passed through vertically.

    A layer without thickness is passed through where active cells lie both above and below it.
    """
    above = np.cumsum(active, axis=0) > 0
    below = np.cumsum(active[::-1], axis=0)[::-1] > 0
    kinds = active.astype(np.int32)
    kinds[~present & above & below] = -1
    return kinds


def _cellids(stage: StageModel, node: NDArray[np.intp]) -> list[tuple[int, int, int]]:
    return list(
        zip(*(index.tolist() for index in np.unravel_index(node, stage.shape3)), strict=True)
    )


def _list(
    stage: StageModel, nodes: Sequence[NDArray[np.intp]], *columns: NDArray
) -> list[list[Any]]:
    cells = [_cellids(stage, node) for node in nodes]
    return [list(row) for row in zip(*cells, *(column.tolist() for column in columns), strict=True)]


def _table(stage: StageModel, node: NDArray[np.intp], *columns: NDArray) -> pandas.DataFrame:
    """Rows of a list package with layer, row and column of their own: flopy takes cells given as
    tuples apart one by one, which took longer than all else that it does."""
    import pandas

    data = [*np.unravel_index(node, stage.shape3), *columns]
    return pandas.DataFrame(dict(enumerate(data)))


def _write_lists(
    gwf: flopy.mf6.ModflowGwf, stage: StageModel, days: tuple[float, float] | None
) -> None:
    """Boundaries of the natural water, walls, and seepage boundaries of the dig."""
    import flopy

    for item in stage_lists(stage):
        make = getattr(flopy.mf6, f"ModflowGwf{item.kind}")
        if item.kind == "hfb":
            rows = _list(stage, item.nodes, *item.values)
            make(gwf, stress_period_data={0: rows}, maxhfb=len(rows))
            continue
        common, shown = _in_time(item.name, item.series, days, item.values[0])
        if item.kind == "drn":
            common |= {"auxiliary": ["depth"], "auxdepthname": "depth"}
        table = _table(stage, item.nodes[0], shown, *item.values[1:])
        make(gwf, stress_period_data={0: table}, **common)


def _write_recharge(
    gwf: flopy.mf6.ModflowGwf, stage: StageModel, days: tuple[float, float] | None
) -> None:
    """Recharge as one array; in time, what changes as lists of its own."""
    import flopy

    if stage.water.recharge is None:
        return
    standing: NDArray[np.bool_] = np.asarray(stage.active.any(axis=0))
    rate = np.where(standing, stage.water.recharge, 0.0)
    for index, (plan, series) in enumerate(stage.water.rains if days else ()):
        rate[plan] -= np.where(standing[plan], series.usual, 0.0)
        under = plan[standing[plan]]
        node = np.argmax(stage.active[:, under], axis=0) * standing.size + under
        values = np.full(under.size, series.usual)
        common, shown = _in_time(f"rain_{index + 1}", series, days, values, DAY)
        flopy.mf6.ModflowGwfrch(gwf, stress_period_data={0: _table(stage, node, shown)}, **common)
    rate = np.maximum(rate, 0.0) * DAY
    flopy.mf6.ModflowGwfrcha(
        gwf, recharge=rate.reshape(stage.grid.shape), pname="rch", save_flows=True
    )


def _in_time(
    name: str,
    series: Series | None,
    days: tuple[float, float] | None,
    values: Floats,
    factor: float = 1.0,
) -> tuple[dict[str, Any], NDArray]:
    """Keywords of a boundary's package, and its values: the series' name where it has one."""
    common: dict[str, Any] = {"pname": name, "filename": f"{name}.dat", "save_flows": True}
    if series is None or days is None:
        return common, values * factor
    common["timeseries"] = {
        "filename": f"{name}.ts",
        "timeseries": [(day, value * factor) for day, value in series.between(*days)],
        "time_series_namerecord": [name],
        "interpolation_methodrecord": ["stepwise" if series.holds else "linear"],
    }
    return common, np.full(values.size, name)


def write_points(gwf: flopy.mf6.ModflowGwf, stage: StageModel) -> None:
    """Drainage points as multi-aquifer wells with conductances of our own (SPECIFIED)."""
    import flopy

    packages, connections, periods = point_rows(stage)
    observations = {
        WELLS_CSV: [
            (f"{kind}{index + 1}", kind, (index,))
            for index in range(len(stage.points))
            for kind in ("head", "rate", "constant", "fw-rate")
        ]
    }
    flopy.mf6.ModflowGwfmaw(
        gwf,
        no_well_storage=True,
        flowing_wells=True,
        nmawwells=len(packages),
        packagedata=packages,
        connectiondata=connections,
        perioddata={0: periods},
        pname="maw",
        filename="maw.dat",
        save_flows=True,
        observations=observations | {"digits": 12},
    )


def point_rows(stage: StageModel) -> tuple[list[list[Any]], list[list[Any]], list[Any]]:
    """Rows of the wells' package: wells, their connections, and how they are driven."""
    packages: list[list[Any]] = []
    connections: list[list[Any]] = []
    periods: list[Any] = []
    for index, (point, drive) in enumerate(zip(stage.points, stage.drives, strict=True)):
        # Where the water stands: begun at its lowest level, a throttled well would seem to give
        # nothing whatever the level does.
        if stage.well_levels:
            begins = stage.well_levels[index]
        else:
            begins = stage.start.reshape(-1)[point.node].max()
        packages.append(
            [index, point.radius, point.screen[0], float(begins), "SPECIFIED", point.node.size]
        )
        for order, (cell, value) in enumerate(
            zip(_cellids(stage, point.node), point.conductance.tolist(), strict=True)
        ):
            connections.append(
                [index, order, cell, point.screen[1], point.screen[0], value * DAY, point.radius]
            )
        periods.extend(drive_rows(index, drive, point.sign))
    return packages, connections, periods


def drive_rows(index: int, drive: PointDrive, sign: float) -> list[tuple[Any, ...]]:
    """The period rows of one multi-aquifer well (index from 0) for how it is driven.

    `sign` is −1 for a point that gives water: its levels and flows come mirrored.
    """
    if drive.shut:
        return [(index, "status", "inactive")]
    if drive.held is not None:
        return [(index, "status", "constant"), (index, "well_head", sign * float(drive.held))]
    if drive.growth is not None:
        # MODFLOW 6's flowing well: a drain in the well, smoothed over its last centimetre.
        outflow = (drive.still, drive.growth * DAY, SMOOTHED)
        return [
            (index, "status", "active"),
            (index, "rate", 0.0),
            (index, "flowing_well", *outflow),
        ]
    rate = -sign * float(drive.rate or 0.0) * DAY
    rows: list[tuple[Any, ...]] = [(index, "status", "active"), (index, "rate", rate)]
    if drive.throttled is not None:
        rows.append((index, "rate_scaling", drive.still, drive.throttled))
    return rows
