"""All cells of a real run in other programs' formats, read back by the libraries that read them."""

from pathlib import Path

import meshio
import numpy as np
import pytest
import xarray
import xugrid

from wellring.postprocess.run.cell_files import write_cell_files
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results


@pytest.fixture(scope="module")
def turned_results(turned_run: RunFolder) -> list[StageResult]:
    return read_results(turned_run)


@pytest.fixture(scope="module")
def folder(turned_run: RunFolder, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("cells") / "layers"
    written = write_cell_files(turned_run, place)
    assert {path.name for path in written} == {path.name for path in place.iterdir()}
    return place


def test_boxes_have_the_models_own_geometry(
    folder: Path, turned_run: RunFolder, turned_results: list[StageResult]
) -> None:
    mesh = meshio.read(folder / "cells.vtu")
    (block,) = mesh.cells
    first, last = turned_results[0], turned_results[-1]
    active = first.grid.active
    assert block.type == "hexahedron"
    assert len(block.data) == active.sum()
    data = {name: values[0] for name, values in mesh.cell_data.items()}
    box = mesh.points[block.data]
    # Area by the shoelace of the lower face, in the site's crs; height from bottom to top.
    x, y = box[:, :4, 0], box[:, :4, 1]
    x, y = x - x.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
    area = 0.5 * np.sum(x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1), axis=1)
    thick = box[:, 4:, 2].mean(axis=1) - box[:, :4, 2].mean(axis=1)
    unit = turned_run.ledger.metres_per_unit
    grid = first.grid
    volume = (turned_run.area * (grid.top - grid.bottom))[active]
    assert area.min() > 0  # anticlockwise, so that the boxes are not inside out
    assert area * thick * unit**3 == pytest.approx(volume, rel=1e-4)
    centre_x, centre_y = turned_run.centres
    columns = np.nonzero(active)[1]
    assert box[..., 0].mean(axis=1) * unit == pytest.approx(centre_x[columns], abs=1e-3)
    assert box[..., 1].mean(axis=1) * unit == pytest.approx(centre_y[columns], abs=1e-3)
    assert np.array_equal(data["unit"], turned_run.unit[active])
    assert data["head"] == pytest.approx(last.heads[active], nan_ok=True, abs=1e-4)
    assert np.array_equal(data["dug"] == 1, ~last.grid.active[active])
    assert data["dug"].sum() > 0
    soils = (folder / "soils.csv").read_text().splitlines()
    assert len(soils) == 1 + len(turned_run.ledger.units)


def test_the_mesh_lies_where_the_site_lies(
    folder: Path, turned_run: RunFolder, turned_results: list[StageResult]
) -> None:
    with xarray.open_dataset(folder / "mesh.nc") as opened:
        mesh = xugrid.UgridDataset(opened.load())
    assert mesh.ugrid.grid.n_face == turned_run.area.size
    assert mesh.ugrid.grid.area.sum() * turned_run.ledger.metres_per_unit**2 == pytest.approx(
        turned_run.area.sum(), rel=1e-6
    )
    # Middles found by xugrid from the nodes are those of the run's cells, in the same order.
    unit = turned_run.ledger.metres_per_unit
    assert mesh.ugrid.grid.centroids * unit == pytest.approx(
        np.column_stack(turned_run.centres), abs=1e-3
    )
    last = turned_results[-1]
    assert last.fall is not None
    fall = mesh["drawdown"].isel(stage=-1)
    assert fall.ugrid.grid.n_face == last.fall.table.size
    assert fall.values == pytest.approx(last.fall.table, abs=1e-9, nan_ok=True)
    assert mesh["heads"].dims[:2] == ("stage", "layer")


def test_the_grid_opens_with_xarray(folder: Path, turned_results: list[StageResult]) -> None:
    with xarray.open_dataset(folder / "cells.nc") as fields:
        table = fields["water_table"].isel(stage=-1).values.ravel()
        assert fields.attrs["Conventions"] == "CF-1.8"
    assert table == pytest.approx(turned_results[-1].table, nan_ok=True)
