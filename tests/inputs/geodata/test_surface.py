"""The ground surface: real rasters written with rasterio, looked up at known places."""

from __future__ import annotations

import pickle
import warnings
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.warp
import shapely

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata import raster_files
from wellring.inputs.geodata.geodata import SiteCrs
from wellring.inputs.geodata.surface import GroundSurface, read_ground

UTM = SiteCrs.of(pyproj.CRS("EPSG:32633"), "EPSG:32633")
LONG_ISLAND = SiteCrs.of(pyproj.CRS("EPSG:2263"), "EPSG:2263")
US_FOOT = 1200 / 3937
WEST, NORTH, CELL = 389900.0, 5820100.0, 10.0
PIT = shapely.box(390000, 5820000, 390060, 5820040)


def slope(x, y):
    """A plane of levels, which bilinear interpolation gives back exactly."""
    return 31.0 + 0.01 * (np.asarray(x) - 390000) - 0.02 * (np.asarray(y) - 5820000)


def cells(rows: int = 30, columns: int = 40) -> np.ndarray:
    x = WEST + CELL * (np.arange(columns) + 0.5)
    y = NORTH - CELL * (np.arange(rows) + 0.5)
    return slope(x[None, :], y[:, None])


def from_origin(west: float, north: float, width: float, height: float) -> rasterio.Affine:
    return rasterio.Affine(width, 0.0, west, 0.0, -height, north)


def write(
    path: Path, levels: np.ndarray, transform=None, crs: object = "EPSG:32633", **profile: object
) -> str:
    bands = levels if levels.ndim == 3 else levels[None]
    unit = profile.pop("unit", None)
    scale = profile.pop("scale", None)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # rasterio's own, about rasters without placing
        with rasterio.open(
            path,
            "w",
            width=bands.shape[2],
            height=bands.shape[1],
            count=bands.shape[0],
            dtype=bands.dtype,
            crs=crs,
            transform=from_origin(WEST, NORTH, CELL, CELL) if transform is None else transform,
            **profile,
        ) as raster:
            raster.write(bands)
            if unit:
                raster.units = [unit] * len(bands)
            if scale:
                raster.scales, raster.offsets = [scale[0]], [scale[1]]
    return path.name


def ground(ref, folder: Path = Path(), crs: SiteCrs = UTM, pit=PIT):
    faults = FaultLog()
    return read_ground(ref, folder, crs, faults, "site.toml", pit=pit), faults


def only(faults: FaultLog) -> str:
    assert len(faults.faults) == 1, faults.faults
    return str(faults.faults[0])


X, Y = np.meshgrid(np.linspace(390000, 390060, 7), np.linspace(5820000, 5820040, 5))


def test_one_level_everywhere() -> None:
    surface, faults = ground(31.5)
    assert faults.faults == []
    assert surface.at(X, Y) == pytest.approx(np.full(X.shape, 31.5))
    assert surface.outline() is None
    assert not surface.distance_outside(X, Y).any()
    assert surface == GroundSurface.constant(31.5)
    assert hash(surface) != hash(GroundSurface.constant(31.6))


@pytest.mark.parametrize("level", [-501.0, 9001.0, float("nan"), float("inf")])
def test_impossible_level_is_refused(level: float) -> None:
    surface, faults = ground(level)
    assert surface is None
    assert only(faults).startswith(f"site.toml: site.ground is '{level}'; expected a level from")


@pytest.mark.parametrize(("suffix", "driver"), [("tif", "GTiff"), ("asc", "AAIGrid")])
def test_raster_is_looked_up_between_its_cell_centres(
    tmp_path: Path, suffix: str, driver: str
) -> None:
    write(tmp_path / "g.tif", cells().astype("float32"))
    if driver == "AAIGrid":
        from rasterio.shutil import copy

        copy(tmp_path / "g.tif", tmp_path / "g.asc", driver=driver, DECIMAL_PRECISION=6)
    surface, faults = ground(f"g.{suffix}", tmp_path)
    assert faults.faults == []
    assert surface.at(X, Y) == pytest.approx(slope(X, Y), abs=1e-4)
    assert surface.at(390001.0, 5820001.0).shape == ()


def test_bilinear_value_by_hand(tmp_path: Path) -> None:
    surface = GroundSurface.from_array(np.array([[0.0, 10.0], [20.0, 50.0]]), (1, 0, 0, 0, -1, 2))
    # A quarter of the way from the upper left centre (0.5, 1.5) each way.
    expected = 0.75 * (0.75 * 0 + 0.25 * 10) + 0.25 * (0.75 * 20 + 0.25 * 50)
    assert surface.at(0.75, 1.25) == pytest.approx(expected)
    assert surface.at(0.1, 1.9) == pytest.approx(0.0)  # in the outer half of a cell
    column = GroundSurface.from_array(np.array([[1.0], [3.0]]), (1, 0, 0, 0, -1, 2))
    assert column.at(0.3, 1.0) == pytest.approx(2.0)
    with pytest.raises(ValueError, match="finite"):
        GroundSurface.from_array(np.array([[np.nan]]), None)


def test_equal_rasters_are_equal_and_travel(tmp_path: Path) -> None:
    ref = write(tmp_path / "g.tif", cells())
    one, other = ground(ref, tmp_path)[0], ground(ref, tmp_path)[0]
    assert one == other
    assert hash(one) == hash(other)
    there = pickle.loads(pickle.dumps(one))
    assert there == one
    assert there.at(X, Y) == pytest.approx(one.at(X, Y))
    changed = cells()
    changed[3, 3] += 0.01
    write(tmp_path / "g.tif", changed)
    assert ground(ref, tmp_path)[0] != one
    with pytest.raises(ValueError, match="read-only"):
        one.levels[0, 0] = 1.0


def test_outside_the_edge_counts_and_the_distance_is_told(tmp_path: Path) -> None:
    surface, _ = ground(write(tmp_path / "g.tif", cells()), tmp_path)
    east = WEST + 40 * CELL
    x, y = np.array([east - 1, east + 3, east + 30]), np.array([5820000.0, 5820000, NORTH + 40])
    assert surface.distance_outside(x, y) == pytest.approx([0, 3, 50])
    faults = FaultLog()
    assert surface.at(x, y, faults)[2] == pytest.approx(cells()[0, -1])
    assert "2 of 3 places looked up lie outside the raster, up to 50 m" in faults.warnings[0]
    quiet = FaultLog()
    surface.at(X, Y, quiet)
    assert quiet.warnings == []


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:25832", "EPSG:3035"])
def test_raster_in_another_crs_is_looked_up_in_its_own(tmp_path: Path, crs: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        placing, width, height = rasterio.warp.calculate_default_transform(
            "EPSG:32633", crs, 140, 140, WEST - 500, NORTH - 900, WEST + 900, NORTH + 500
        )
    # Exact levels at the centres of the other raster's cells.
    column, row = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    there = [
        placing.a * column + placing.b * row + placing.c,
        placing.d * column + placing.e * row + placing.f,
    ]
    back = pyproj.Transformer.from_crs(crs, "EPSG:32633", always_xy=True)
    exact = slope(*back.transform(*there))
    assert exact.std() > 1
    surface, faults = ground(write(tmp_path / "g.tif", exact, placing, crs), tmp_path)
    assert faults.faults == []
    assert faults.warnings == []
    assert surface.at(X, Y) == pytest.approx(slope(X, Y), abs=2e-3)
    # Beyond the edge: the distance to it in metres of the site, whatever the raster's units.
    away = shapely.Point(surface.outline().bounds[0] - 400, 5820000)
    assert surface.distance_outside(away.x, away.y)[()] == pytest.approx(
        away.distance(surface.outline()), rel=0.01
    )


def test_turned_raster(tmp_path: Path) -> None:
    cos, sin = CELL * np.cos(np.radians(20)), CELL * np.sin(np.radians(20))
    turned = rasterio.Affine(cos, -sin, WEST, -sin, -cos, NORTH + 60)
    column, row = np.meshgrid(np.arange(60) + 0.5, np.arange(60) + 0.5)
    levels = slope(
        turned.a * column + turned.b * row + turned.c, turned.d * column + turned.e * row + turned.f
    )
    surface, _ = ground(write(tmp_path / "g.tif", levels, turned), tmp_path)
    assert surface.at(X, Y) == pytest.approx(slope(X, Y), abs=1e-9)


def test_cells_without_data_get_the_nearest_and_are_told(tmp_path: Path) -> None:
    levels = cells()
    levels[0:2, 0:3] = -9999
    ref = write(tmp_path / "g.tif", levels, nodata=-9999)
    surface, faults = ground(ref, tmp_path)
    assert surface.levels[0, 0] == pytest.approx(levels[2, 0])
    assert faults.warnings == [
        "site.toml: site.ground: g.tif: 6 cells (0.5 %) without data got the nearest level"
    ]
    levels = cells()
    levels[8, 12] = np.nan  # under the pit's corner, and not declared
    _, faults = ground(write(tmp_path / "h.tif", levels), tmp_path)
    assert "1 cells" in faults.warnings[0]
    row, column = int((NORTH - 5820000) // CELL), int((390000 - WEST) // CELL)
    levels = cells()
    levels[row, column] = np.nan
    _, faults = ground(write(tmp_path / "i.tif", levels), tmp_path)
    assert "some of them at the pit" in faults.warnings[0]


def test_units_scale_and_bands(tmp_path: Path) -> None:
    feet, faults = ground(write(tmp_path / "ft.tif", cells() / 0.3048, unit="ft"), tmp_path)
    assert feet.at(X, Y) == pytest.approx(slope(X, Y))
    assert faults.warnings == ["site.toml: site.ground: ft.tif: levels converted from ft to m"]
    survey, _ = ground(
        write(tmp_path / "us.tif", cells() / US_FOOT, unit="US survey foot"), tmp_path
    )
    assert survey.at(X, Y) == pytest.approx(slope(X, Y))
    _, faults = ground(write(tmp_path / "m.tif", cells(), unit="metre"), tmp_path)
    assert faults.warnings == []
    none, faults = ground(write(tmp_path / "f.tif", cells(), unit="fathom"), tmp_path)
    assert none is None
    assert "'fathom'" in only(faults)
    packed = np.round((cells() - 20) / 0.01).astype("int16")
    small, _ = ground(write(tmp_path / "p.tif", packed, scale=(0.01, 20.0)), tmp_path)
    assert small.at(X, Y) == pytest.approx(slope(X, Y), abs=0.006)
    two, faults = ground(write(tmp_path / "two.tif", np.stack([cells(), cells() * 0])), tmp_path)
    assert two.at(X, Y) == pytest.approx(slope(X, Y))
    assert "has 2 bands; the first" in faults.warnings[0]


def test_height_system_in_feet(tmp_path: Path) -> None:
    # NAD83 / New York Long Island (ftUS) with NAVD88 height (ftUS): levels are feet.
    place = from_origin(989900, 200200, 10, 10)
    levels = np.full((40, 40), 50.0)
    ref = write(tmp_path / "g.tif", levels, place, "EPSG:2263+6360")
    pit = shapely.box(*LONG_ISLAND.to_metres([990000, 200000, 990100, 200050]))
    surface, faults = ground(ref, tmp_path, LONG_ISLAND, pit)
    assert faults.faults == []
    assert surface.at(pit.centroid.x, pit.centroid.y) == pytest.approx(50 * US_FOOT)
    assert any("converted from" in text for text in faults.warnings)


def test_site_in_feet_looks_up_feet_and_asks_for_the_unit(tmp_path: Path) -> None:
    place = from_origin(989900, 200200, 10, 10)
    column = 989900 + 10 * (np.arange(40) + 0.5)
    levels = np.tile(10 + 0.01 * (column - 990000), (40, 1))
    ref = write(tmp_path / "g.tif", levels, place, "EPSG:2263")
    pit = shapely.box(*LONG_ISLAND.to_metres([990000, 200000, 990100, 200050]))
    surface, faults = ground(ref, tmp_path, LONG_ISLAND, pit)
    x, y = LONG_ISLAND.to_metres([990100, 200000])
    assert surface.at(x, y) == pytest.approx(11.0)
    assert surface.distance_outside(*LONG_ISLAND.to_metres([989800, 200000])) == pytest.approx(
        100 * US_FOOT
    )
    assert "does not say the unit of its levels" in faults.warnings[0]


def test_raster_away_from_the_pit_is_refused(tmp_path: Path) -> None:
    ref = write(tmp_path / "g.tif", cells(), from_origin(WEST + 5000, NORTH, CELL, CELL))
    surface, faults = ground(ref, tmp_path)
    assert surface is None
    assert "It lies 4.84 km away from it; is it in another coordinate system?" in only(faults)
    assert "site.toml: site.ground is 'g.tif'" in only(faults)
    part = write(tmp_path / "p.tif", cells(), from_origin(390030, NORTH, CELL, CELL))
    surface, faults = ground(part, tmp_path)
    assert surface is not None
    assert (
        "covers the pit only in part; the level at its edge is used up to 30 m"
        in (faults.warnings[0])
    )


def test_raster_without_crs_is_the_sites(tmp_path: Path) -> None:
    surface, faults = ground(write(tmp_path / "g.tif", cells(), crs=None), tmp_path)
    assert surface.at(X, Y) == pytest.approx(slope(X, Y))
    assert "states no crs; it is taken to be in EPSG:32633" in faults.warnings[0]


def test_unfit_rasters_are_refused(tmp_path: Path) -> None:
    undeclared = cells()
    undeclared[4, 7] = -9999
    write(tmp_path / "undeclared.tif", undeclared)
    write(tmp_path / "empty.tif", np.full((9, 9), -1.0), nodata=-1.0)
    write(tmp_path / "nowhere.tif", cells(), rasterio.Affine.identity(), None)
    write(tmp_path / "photo.tif", np.zeros((3, 9, 9), "uint8"), photometric="RGB")
    write(tmp_path / "wave.tif", np.zeros((9, 9), "complex64"))
    (tmp_path / "rubbish.tif").write_bytes(b"II*\x00 rubbish")
    whole = write(tmp_path / "cut.tif", cells(300, 300))
    (tmp_path / whole).write_bytes((tmp_path / whole).read_bytes()[:30000])
    (tmp_path / "ground.xyz").write_text("1 2 3")
    for ref, said in [
        ("undeclared.tif", "1 cells hold others, as -9999 in row 5, column 8"),
        ("empty.tif", "All its cells are without data"),
        ("nowhere.tif", "does not say where it lies"),
        ("photo.tif", "It is a picture"),
        ("wave.tif", "complex"),
        ("rubbish.tif", "cannot be read"),
        ("cut.tif", "cannot be read"),
        ("ground.xyz", "Export it"),
        ("emptyy.tif", "Did you mean 'empty.tif'?"),
        ("http://example.org/g.tif", "There is no such file"),
    ]:
        surface, faults = ground(ref, tmp_path)
        assert surface is None, ref
        assert said in only(faults), ref
        assert f"site.toml: site.ground is '{ref}'" in only(faults)


def test_very_large_raster_is_cut_to_the_pit_or_thinned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = columns = 1500  # 15 km
    west, north = 390000 - 7500, 5820000 + 7500
    x = west + CELL * (np.arange(columns) + 0.5)
    y = north - CELL * (np.arange(rows) + 0.5)
    ref = write(tmp_path / "g.tif", slope(x[None, :], y[:, None]), from_origin(west, north, 10, 10))
    monkeypatch.setattr(raster_files, "MOST_CELLS", 1_500_000)
    surface, faults = ground(ref, tmp_path)
    assert surface.levels.size < 1_100_000
    assert surface.at(X, Y) == pytest.approx(slope(X, Y), abs=1e-6)
    assert "read up to 5 km around the pit" in faults.warnings[0]
    surface, faults = ground(ref, tmp_path, pit=None)
    assert surface.levels.shape == (750, 750)
    assert "one cell in 2" in faults.warnings[0]
    # A thinned cell shows one of the four it stands for: at most half a new cell aside.
    assert surface.at(X, Y) == pytest.approx(slope(X, Y), abs=0.01 * 10 + 0.02 * 10)
