"""GeoTIFFs of a real run, read back with rasterio and held against the cells."""

from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import map_coordinates, maximum_filter, minimum_filter

from wellring.postprocess.gis.gis_styles import RAMP, ramp_colour
from wellring.postprocess.gis.rasters import LARGEST_SIDE, NODATA, PIXELS_ACROSS_PIT
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

US_FOOT = 1200 / 3937

# rasterio still multiplies affine transforms the old way; nothing of ours.
pytestmark = pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")


@pytest.fixture
def run(slashed_run: RunFolder) -> RunFolder:
    return slashed_run


@pytest.fixture
def results(slashed_results: list[StageResult]) -> list[StageResult]:
    return slashed_results


@pytest.fixture
def folder(slashed_layers: Path) -> Path:
    return slashed_layers


@pytest.fixture
def package(folder: Path) -> Path:
    (found,) = folder.glob("*.gpkg")
    return found


@pytest.fixture
def feet(layers_in_feet: Path) -> Path:
    return layers_in_feet


def layer(package: Path, name: str) -> geopandas.GeoDataFrame:
    return geopandas.read_file(package, layer=name)


def neighbours(run: RunFolder, field: np.ndarray, x: float, y: float) -> tuple[float, float]:
    """Lowest and highest value of the cell at a point and its eight neighbours."""
    cell = run.plan_cell(x, y)
    assert cell is not None
    row, column = divmod(cell, run.ledger.grid.ncol)
    part = field.reshape(run.plan_shape)[row - 1 : row + 2, column - 1 : column + 2]
    return float(part.min()), float(part.max())


def sampled(path: Path, points: np.ndarray) -> np.ndarray:
    with rasterio.open(path) as file:
        values = np.array([value[0] for value in file.sample(points)], dtype=float)
    return np.where(values == NODATA, np.nan, values)


def test_rasters_agree_with_the_cells_at_wells_and_points(
    run: RunFolder, results: list[StageResult], folder: Path
) -> None:
    places = [(w.x, w.y) for w in run.ledger.wells] + [(p.x, p.y) for p in run.ledger.points]
    result = results[-1]
    assert result.fall is not None
    for key, field in [
        ("water_table", result.table),
        ("drawdown", result.fall.table),
        ("largest_drawdown", result.fall.largest),
    ]:
        values = sampled(folder / f"{key}_02_final_dig_near.tif", np.array(places))
        for place, value in zip(places, values, strict=True):
            low, high = neighbours(run, field, *place)
            assert low - 1e-5 <= value <= high + 1e-5, (key, place)
    # The pit is drawn down and the raster is not upside down: the point stands higher.
    assert np.nanmax(values[:-1]) > values[-1] > 0.5


@pytest.mark.parametrize("extent", ["near", "wide"])
def test_rasters_agree_with_an_independent_interpolation(
    run: RunFolder, results: list[StageResult], folder: Path, extent: str
) -> None:
    field = results[-1].table.reshape(run.plan_shape)
    x, y = run.local_centres
    oracle = RegularGridInterpolator((y[::-1], x), field[::-1], bounds_error=False)
    with rasterio.open(folder / f"water_table_02_final_dig_{extent}.tif") as file:
        values = file.read(1, masked=True).filled(np.nan).astype(float)
        rows, columns = np.indices(values.shape)
        east = file.transform.c + file.transform.a * (columns + 0.5)
        north = file.transform.f + file.transform.e * (rows + 0.5)
    local_x, local_y = run.to_local(east, north)
    expected = oracle((local_y, local_x))
    both = np.isfinite(expected)
    assert both.mean() > 0.6
    np.testing.assert_allclose(values[both], expected[both], atol=1e-5)
    # Beyond the last centre: the cell's own value; outside the model: nothing.
    flat = results[-1].table
    for row, column in np.argwhere(~both)[::7]:
        cell = run.plan_cell(east[row, column], north[row, column])
        own = np.nan if cell is None else flat[cell]
        np.testing.assert_allclose(values[row, column], own, atol=1e-5)


def test_wide_raster_covers_the_model_and_near_shows_the_pit(run: RunFolder, folder: Path) -> None:
    x, y = run.centres
    active = run.grid_of(run.ledger.stages[0]).active.any(axis=0)
    pit = shapely.Polygon(run.ledger.outline)
    with rasterio.open(folder / "drawdown_02_final_dig_wide.tif") as wide:
        left, bottom, right, top = wide.bounds
        assert max(wide.shape) <= LARGEST_SIDE["wide"]
        counted = (wide.read(1) != NODATA).sum() * wide.res[0] ** 2
    assert left <= x[active].min() <= x[active].max() <= right
    assert bottom <= y[active].min() <= y[active].max() <= top
    assert counted == pytest.approx(run.area[active].sum(), rel=0.01)
    with rasterio.open(folder / "drawdown_02_final_dig_near.tif") as near:
        assert shapely.box(*near.bounds).contains(pit.buffer(10.0))
        assert max(near.shape) <= LARGEST_SIDE["near"]
        assert 20.0 / near.res[0] >= PIXELS_ACROSS_PIT


@pytest.mark.parametrize(
    ("extent", "levels"),
    [("near", {5.0}), ("wide", {0.1, 0.25, 0.5, 1.0, 2.0, 5.0})],
)
def test_contours_agree_with_the_raster_along_them(
    folder: Path, package: Path, extent: str, levels: set[float]
) -> None:
    with rasterio.open(folder / f"drawdown_02_final_dig_{extent}.tif") as file:
        values = file.read(1, masked=True).filled(0.0).astype(float)
        inverse = ~file.transform
        bounds = shapely.box(*file.bounds).buffer(-2 * file.res[0])
    spread = maximum_filter(values, 3) - minimum_filter(values, 3)
    lines = layer(package, "drawdown_02_final_dig")
    checked = []
    for line in lines.itertuples():
        xy = shapely.get_coordinates(line.geometry)
        xy = xy[shapely.contains_xy(bounds, xy)]
        if not len(xy):
            continue
        # In pixels from the first pixel's centre, rows first.
        at = [inverse.e * xy[:, 1] + inverse.f - 0.5, inverse.a * xy[:, 0] + inverse.c - 0.5]
        error = np.abs(map_coordinates(values, at, order=1) - line.drawdown)
        # The 5 m line runs in the jump at the wall, which may lie within one pixel: there the
        # raster can be off by up to half of what its neighbours differ; the others run in the open.
        allowed = 0.5 * map_coordinates(spread, at, order=0) if line.drawdown == 5.0 else 0.003
        assert (error <= allowed).all()
        checked.append(line.drawdown)
    assert set(checked) == levels


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition of relative luminance)."""
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_ramp_grows_darker_all_the_way() -> None:
    shades = [luminance(ramp_colour(share)) for share in np.linspace(0, 1, 41)]
    assert (np.diff(shades) < 0).all()
    assert [ramp_colour(0.0), ramp_colour(1.0)] == [RAMP[0], RAMP[-1]]


def raster_items(path: Path) -> list[tuple[float, str]]:
    root = ElementTree.parse(path).getroot()
    return [(float(i.get("value", "")), i.get("color", "")) for i in root.iter("item")]


def test_raster_styles_cover_the_values_and_are_the_same_in_all_stages(folder: Path) -> None:
    for path in folder.glob("*.tif"):
        items = raster_items(path.with_suffix(".qml"))
        with rasterio.open(path) as file:
            values = file.read(1, masked=True).compressed()
        assert items[0][0] <= values.min() <= values.max() <= items[-1][0]
        darker_up = luminance(items[0][1]) > luminance(items[-1][1])
        assert darker_up == ("water_table" not in path.name)
    first, last = "drawdown_01_first_dig_it_s_near.qml", "drawdown_02_final_dig_wide.qml"
    assert (folder / first).read_bytes() == (folder / last).read_bytes()


def test_geotiffs_say_what_they_hold(run: RunFolder, folder: Path) -> None:
    with rasterio.open(folder / "water_table_00_before_the_work_wide.tif") as file:
        tags = file.tags()
        assert file.nodata == NODATA
        assert file.dtypes == ("float32",)
        assert file.units == ("m",)
        assert file.descriptions == ("level of the water table [m]",)
        assert file.compression.name == "deflate"
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert tags["invented"] == "yes"
        assert tags["site"] == run.ledger.site
        assert tags["unit"] == "m"
        assert "linear" in tags["method"]
    assert not list(folder.glob("drawdown_00*"))


def test_in_feet_rasters_hold_the_same_levels(
    run: RunFolder, results: list[StageResult], feet: Path
) -> None:
    path = feet / "water_table_02_final_dig_near.tif"
    with rasterio.open(path) as file:
        assert file.crs.to_epsg() == 2263
        assert 20.0 / US_FOOT / file.res[0] >= PIXELS_ACROSS_PIT
    places = np.array([(w.x, w.y) for w in run.ledger.wells])
    values = sampled(path, places / US_FOOT)
    for place, value in zip(places, values, strict=True):
        low, high = neighbours(run, results[-1].table, *place)
        assert low - 1e-5 <= value <= high + 1e-5
