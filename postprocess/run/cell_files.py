"""Every cell of a run for other programs: NetCDF on the grid, UGRID over the plan, VTU in 3-D."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.fields import open_fields, write_dataset, write_netcdf
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.tables import write_table

if TYPE_CHECKING:
    import xarray

CELLS_FILE, MESH_FILE, SOLID_FILE, SOILS_FILE = "cells.nc", "mesh.nc", "cells.vtu", "soils.csv"
CELL_FILES = (CELLS_FILE, MESH_FILE, SOLID_FILE, SOILS_FILE)
"""All of them hold soils and heads alone, which no other assessment of the run changes."""


def write_cell_files(run: RunFolder, folder: Path) -> list[Path]:
    """Write all of them, and a table of the soils' numbers, into a folder (made if missing).

    Raises
    ------
    InputFaults : the folder cannot be written to, or the run's crs is not known.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rows = [[k, unit.label, unit.soil] for k, unit in enumerate(run.ledger.units)]
    write_table(folder / SOILS_FILE, ["unit", "name", "soil"], rows)
    return [
        write_netcdf(run, folder / CELLS_FILE),
        write_dataset(plan_mesh(run), folder / MESH_FILE),
        write_vtu(run, folder / SOLID_FILE),
        folder / SOILS_FILE,
    ]


def plan_mesh(run: RunFolder) -> xarray.Dataset:
    """The run's fields over the plan as a two-dimensional mesh by the UGRID conventions 1.0.

    Faces are the plan cells, in the order of the rows; node places are in the site's crs and its
    units, so that the turned grid lies where it belongs. Layers stay a dimension of their own.
    """
    fields = open_fields(run)
    rows, columns = run.plan_shape
    grid = run.ledger.grid
    x, y = run.to_site(*np.meshgrid(np.asarray(grid.x_edges), np.asarray(grid.y_edges)))
    first = (np.arange(rows)[:, None] * (columns + 1) + np.arange(columns)).ravel()
    nodes = np.stack([first, first + columns + 1, first + columns + 2, first + 1], axis=1)
    mesh = {
        "cf_role": "mesh_topology",
        "topology_dimension": 2,
        "node_coordinates": "mesh_node_x mesh_node_y",
        "face_coordinates": "mesh_face_x mesh_face_y",
        "face_node_connectivity": "mesh_face_nodes",
        "face_dimension": "mesh_face",
    }
    unit = run.ledger.metres_per_unit
    kept = {name: fields[name] for name in ("stage", "formation", "day", "layer")}
    found = fields.drop_vars(list(fields.variables)).assign_coords(kept)
    found["crs"] = fields["crs"]
    found["mesh"] = ((), np.int32(0), mesh)
    where = {"start_index": 0, "cf_role": "face_node_connectivity"}
    found["mesh_face_nodes"] = (("mesh_face", "four"), nodes.astype(np.int32), where)
    for axis, at, middle in (("x", x, fields["site_x"]), ("y", y, fields["site_y"])):
        told = dict(middle.attrs)
        node, face = f"mesh_node_{axis}", f"mesh_face_{axis}"
        found = found.assign_coords(
            {
                node: ("mesh_node", at.ravel() / unit, told),
                face: ("mesh_face", middle.values.ravel(), told),
            }
        )
    for name, values in fields.data_vars.items():
        if values.dims[-2:] != ("y", "x"):
            continue
        flat = values.values.reshape(*values.shape[:-2], -1)
        told = {**values.attrs, "mesh": "mesh", "location": "face"}
        found[str(name)] = ((*values.dims[:-2], "mesh_face"), flat, told)
    found.attrs["Conventions"] = "CF-1.8 UGRID-1.0"
    return found


def write_vtu(run: RunFolder, path: Path) -> Path:
    """Soils, and heads of the first and the last stage, on the cells' own boxes (VTU).

    Points are in the site's crs and its units, levels in the same unit. A column's boxes share
    their corners; neighbouring columns do not, as their levels differ. Cells that are dug away
    have the head NaN. Cell data: `unit` (number as in the table of soils), `kh` [m/s], `head` and
    `head_before` [m], `fall` of the head [m], `dug` (1 where the last stage has dug it away).
    """
    import meshio

    first, last = run.ledger.stages[0], run.ledger.stages[-1]
    grid, after = run.grid_of(first), run.grid_of(last)
    before, heads = run.heads(first), run.heads(last)
    layers, columns = grid.active.shape
    used = np.flatnonzero(grid.active.any(axis=0))
    place = np.full(columns, -1)
    place[used] = np.arange(used.size)
    corners = _corners(run)[used] / run.ledger.metres_per_unit
    levels = grid.edges[:, used] / run.ledger.metres_per_unit
    points = np.empty((layers + 1, used.size, 4, 3))
    points[..., :2] = corners
    points[..., 2] = levels[:, :, None]
    layer, column = np.nonzero(grid.active)
    top = 4 * (layer * used.size + place[column])
    below = top + 4 * used.size
    boxes = np.concatenate([below[:, None] + np.arange(4), top[:, None] + np.arange(4)], axis=1)
    unit = run.unit[grid.active]
    kh = np.array([run.ledger.soils[entry.soil].kh for entry in run.ledger.units])
    there = after.active[grid.active]
    head = np.where(there, heads[grid.active], np.nan)
    data = {
        "unit": unit.astype(np.int32),
        "kh": kh[unit].astype(np.float32),
        "head": head.astype(np.float32),
        "head_before": before[grid.active].astype(np.float32),
        "fall": (before[grid.active] - head).astype(np.float32),
        "dug": (~there).astype(np.int32),
    }
    mesh = meshio.Mesh(
        points.reshape(-1, 3),
        [("hexahedron", boxes)],
        cell_data={name: [values] for name, values in data.items()},
    )
    mesh.write(path, file_format="vtu", compression="zlib")
    return path


def _corners(run: RunFolder) -> NDArray[np.float64]:
    """Site x and y (n, 4, 2) [m] of the plan cells' corners, anticlockwise from the south-west."""
    grid = run.ledger.grid
    x, y = np.asarray(grid.x_edges), np.asarray(grid.y_edges)
    west, north = np.meshgrid(x[:-1], y[:-1])
    east, south = np.meshgrid(x[1:], y[1:])
    around = ((west, south), (east, south), (east, north), (west, north))
    return np.stack([np.column_stack(run.to_site(a.ravel(), b.ravel())) for a, b in around], axis=1)
