"""The GeoPackage of a real run, read back with geopandas and sqlite3."""

import math
import re
import sqlite3
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
import shapely

from wellring.inputs.basics.faults import InputFaults
from wellring.postprocess.gis.geopackage import layer_kind
from wellring.postprocess.gis.gis_layers import contour_levels, write_layers
from wellring.postprocess.run.heads import level_at_point
from wellring.postprocess.run.ledger import WallEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

US_FOOT = 1200 / 3937
STAGE = '=first "dig" / 🕳 it\'s'
SCHEME = "six wells: 'ä' / <b>"

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


def geometry_layers(package: Path) -> list[str]:
    return [name for name, kind in pyogrio.list_layers(package) if kind is not None]


def test_the_run_is_turned(run: RunFolder) -> None:
    assert run.ledger.grid.rotation % 90 == pytest.approx(23.0, abs=0.01)


def test_every_layer_has_the_sites_crs(run: RunFolder, package: Path, folder: Path) -> None:
    expected = pyproj.CRS.from_user_input(run.ledger.crs)
    names = geometry_layers(package)
    assert len(names) >= 13
    for name in names:
        assert layer(package, name).crs == expected, name
    for path in folder.glob("*.tif"):
        with rasterio.open(path) as file:
            assert pyproj.CRS.from_user_input(file.crs) == expected


def test_layers_of_every_stage_are_there(package: Path) -> None:
    ground = ("stability", "settlement", "settlement_zones", "influence")
    fixed = {"model_extent", "excavation", "walls", "wells", "wells_by_stage", "borings", "points"}
    stages = {
        f"{kind}_{slug}"
        for kind in ("floor", "drawdown", "largest_drawdown", *ground)
        for slug in ("01_first_dig_it_s", "02_final_dig")
    }
    assert set(geometry_layers(package)) == fixed | stages


def test_names_of_files_and_layers_are_safe_and_attributes_keep_the_users(
    run: RunFolder, package: Path, folder: Path
) -> None:
    for path in folder.iterdir():
        assert re.fullmatch(r"[\w]+\.(gpkg|tif|qml)", path.name), path.name
    for name in geometry_layers(package):
        assert re.fullmatch(r"[A-Za-z0-9_]+", name), name
    assert set(layer(package, "wells_by_stage")["stage"]) == {STAGE, "final dig"}
    assert layer(package, "excavation")["scheme"].item() == SCHEME
    with rasterio.open(folder / "drawdown_01_first_dig_it_s_near.tif") as file:
        assert file.tags()["stage"] == STAGE
        assert file.tags()["scheme"] == SCHEME


def test_excavation_and_floor_have_their_area(
    run: RunFolder, results: list[StageResult], package: Path
) -> None:
    pit = layer(package, "excavation")
    assert pit.area.item() == pytest.approx(30.0 * 20.0, rel=1e-4)
    assert pit["area_m2"].item() == pytest.approx(pit.area.item(), rel=1e-9)
    floor = layer(package, "floor_02_final_dig")
    plan = run.ledger.stages[2].floor
    assert floor.area.sum() == pytest.approx(run.area[plan].sum(), rel=1e-9)
    # The polygons are the cells: each holds its own cell's centre.
    x, y = run.centres
    centres = shapely.points(x[plan], y[plan])
    assert shapely.distance(floor.geometry.centroid.to_numpy(), centres).max() < 1e-6
    below = floor["formation_m"] - results[2].table[plan]
    np.testing.assert_allclose(floor["water_below_m"], below, atol=1e-9)
    judged = floor["state"] != "tight soil"
    assert judged.any()
    expected = floor["water_below_m"] >= run.ledger.clearance - 1e-3
    assert (floor.loc[judged, "ok"].astype(bool) == expected[judged]).all()
    assert (floor.loc[judged, "state"] == np.where(expected[judged], "dry", "too high")).all()


def test_a_wet_floor_is_shown_as_wet(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    """The same run judged by a clearance nobody could keep, and one cell that is tight."""
    dry = results[2].dryness
    assert dry is not None
    below = dry.depth_below.copy()
    below[0] = np.nan
    needed = float(np.nanmedian(below))
    judged = replace(results[2], dryness=replace(dry, needed=needed, depth_below=below))
    package = write_layers(run, [results[0], judged], tmp_path)[0]
    floor = layer(package, "floor_02_final_dig")
    assert floor["state"].iloc[0] == "tight soil"
    assert floor["ok"].isna().sum() == 1
    counts = floor["state"].value_counts()
    assert counts["too high"] == (below[1:] < needed - 1e-3).sum() > 0
    assert counts["dry"] == (below[1:] >= needed - 1e-3).sum() > 0
    check_styles(package)


def test_wells_hold_what_the_solver_found(run: RunFolder, package: Path) -> None:
    wells = layer(package, "wells").set_index("name")
    by_stage = layer(package, "wells_by_stage")
    assert len(by_stage) == len(run.ledger.wells) * 2
    for well in run.ledger.wells:
        row = wells.loc[well.name]
        assert (row.geometry.x, row.geometry.y) == pytest.approx((well.x, well.y), abs=1e-6)
        assert row["level_m"] == pytest.approx(well.level[-1])
        assert row["flow_m3_s"] == pytest.approx(well.flow[-1])
        assert row["peak_flow_m3_s"] == pytest.approx(max(well.flow))
        assert row["governing"] == well.governing[-1]
        assert run.ledger.stages[well.flow.index(max(well.flow))].name == row["peak_stage"]
        first = by_stage[(by_stage["name"] == well.name) & (by_stage["stage"] == STAGE)]
        assert first["flow_m3_s"].item() == pytest.approx(well.flow[1])
    # All the wells together give what the solver's budget says was pumped.
    _, pumped = run.package_flows(run.ledger.stages[-1], "maw")
    assert wells["flow_m3_s"].sum() == pytest.approx(-pumped.sum(), rel=1e-6)


def test_contours_part_the_model(run: RunFolder, results: list[StageResult], package: Path) -> None:
    """Cells inside a closed line have fallen more than its level, cells outside it less."""
    lines = layer(package, "largest_drawdown_02_final_dig")
    assert results[-1].fall is not None
    field = results[-1].fall.largest
    x, y = run.centres
    (line,) = lines.loc[lines["drawdown"] == 2.0, "geometry"]
    assert line.is_closed
    inside = shapely.contains_xy(shapely.Polygon(line), x, y)
    assert inside.sum() > 100
    known = np.isfinite(field)
    np.testing.assert_array_equal(inside[known], field[known] > 2.0)


def test_contour_levels_stop_at_the_largest_drawdown() -> None:
    assert contour_levels(0.05) == []
    assert contour_levels(3.0) == [0.1, 0.25, 0.5, 1.0, 2.0]
    assert contour_levels(35.0)[-3:] == [10.0, 20.0, 30.0]


def test_model_extent_is_the_modelled_ground(run: RunFolder, package: Path) -> None:
    extent = layer(package, "model_extent")
    active = run.grid_of(run.ledger.stages[0]).active.any(axis=0)
    assert extent.area.item() == pytest.approx(run.area[active].sum(), rel=1e-6)
    x, y = run.centres
    np.testing.assert_array_equal(shapely.contains_xy(extent.geometry.item(), x, y), active)


def test_walls_borings_and_points(
    run: RunFolder, results: list[StageResult], package: Path
) -> None:
    (wall,) = layer(package, "walls").itertuples()
    assert wall.geometry.length == pytest.approx(100.0, rel=1e-4)
    assert (wall.toe_min_m, wall.toe_max_m) == (-6.0, -6.0)
    assert wall.holds_water
    assert wall.leakage_1_s == pytest.approx(3e-7 / 0.6)
    assert wall.from_stage == STAGE
    assert len(layer(package, "borings")) == len(run.ledger.borings)
    (point,) = layer(package, "points").itertuples()
    cell = run.plan_cell(466045.0, 5918010.0)
    named = run.ledger.points[0]
    before, last = (
        level_at_point(run, result.grid, result.heads, result.table, named)
        for result in (results[0], results[-1])
    )
    assert point.water_last_m == pytest.approx(last)
    assert point.water_last_m == pytest.approx(results[-1].table[cell], abs=0.1)
    assert point.drawdown_m == pytest.approx(before - last)
    settled = results[-1].settlement
    assert settled is not None
    assert point.settlement_mm == pytest.approx(settled.final[cell] * 1e3)


def rows_of(package: Path, query: str) -> list[tuple]:
    connection = sqlite3.connect(package)
    try:
        return connection.execute(query).fetchall()
    finally:
        connection.close()


def check_styles(package: Path) -> None:
    """Every layer has a default style, whose rules draw each feature once.

    The rules' filters are expressions that SQL reads as well.
    """
    styles = rows_of(
        package,
        "select f_table_name, f_geometry_column, styleQML from layer_styles "
        "where useAsDefault = 1 and f_table_schema = '' and f_table_catalog = ''",
    )
    geometry = dict(rows_of(package, "select table_name, column_name from gpkg_geometry_columns"))
    kinds = dict(
        rows_of(package, "select table_name, geometry_type_name from gpkg_geometry_columns")
    )
    assert {name: column for name, column, _ in styles} == geometry
    for name, _, text in styles:
        root = ElementTree.fromstring(text)
        symbols = {symbol.get("name"): symbol for symbol in root.iter("symbol")}
        rules = list(root.iter("rule"))
        assert {rule.get("symbol") for rule in rules} == set(symbols)
        total = rows_of(package, f'select count(*) from "{name}"')[0][0]
        drawn = 0
        for rule in rules:
            where = rule.get("filter", "1")
            drawn += rows_of(package, f'select count(*) from "{name}" where {where}')[0][0]
            symbol = symbols[rule.get("symbol")]
            expected = {"POINT": "marker", "LINESTRING": "line", "POLYGON": "fill"}
            assert symbol.get("type") == expected[kinds[name].removeprefix("MULTI")]
        assert drawn == total > 0, name
        for style in root.iter("text-style"):
            field = style.get("fieldName", "").split("||")[0]
            shown = rows_of(package, f'select {field} from "{name}"')
            assert all(value for (value,) in shown)


def test_every_layer_has_a_default_style_that_draws_every_feature(package: Path) -> None:
    check_styles(package)


def test_wells_in_every_state_and_walls_of_both_sorts_are_drawn(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    words = ["level", "rate", "pump", "screen", "dry", "no inflow"]
    wells = [
        replace(well, governing=["not used", word, word])
        for well, word in zip(run.ledger.wells, words, strict=True)
    ]
    (wall,) = run.ledger.walls
    walls = [wall, replace(wall, name="W", kind="timber sheeting", holds_water=False)]
    other = RunFolder(run.path)
    other.__dict__["ledger"] = replace(run.ledger, wells=wells, walls=walls)
    check_styles(write_layers(other, results, tmp_path)[0])


def test_layer_kinds_are_told_apart() -> None:
    assert layer_kind("wells") == "wells"
    assert layer_kind("wells_by_stage") == "wells_by_stage"
    assert layer_kind("largest_drawdown_01_dig") == "largest_drawdown"


def test_in_feet_coordinates_are_feet_and_attributes_si(
    run: RunFolder, package: Path, feet: Path
) -> None:
    (other,) = feet.glob("*.gpkg")
    for name in geometry_layers(package):
        metric, imperial = layer(package, name), layer(other, name)
        assert imperial.crs.to_epsg() == 2263
        np.testing.assert_allclose(
            imperial.total_bounds * US_FOOT, metric.total_bounds, rtol=1e-12, atol=1e-6
        )
        columns = [column for column in metric.columns if column != "geometry"]
        assert metric[columns].equals(imperial[columns]), name
    area = layer(other, "excavation").area.item()
    assert area * US_FOOT**2 == pytest.approx(600.0, rel=1e-4)


def test_writing_again_replaces_and_leaves_nothing_half_done(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    (tmp_path / "six_wells_ä_b.partial.gpkg").write_text("left by a run that was killed")
    first = write_layers(run, results, tmp_path)
    names = geometry_layers(first[0])
    assert write_layers(run, results, tmp_path) == first
    assert geometry_layers(first[0]) == names
    assert sorted(tmp_path.iterdir()) == sorted(first)
    assert pyogrio.get_gdal_config_option("OGR_SQLITE_SYNCHRONOUS") is None


def test_an_open_pit_without_wells_walls_or_points(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    bare = RunFolder(run.path)
    bare.__dict__["ledger"] = replace(run.ledger, wells=[], walls=[], points=[], borings=[])
    package = write_layers(bare, results, tmp_path)[0]
    found = set(geometry_layers(package))
    assert {"excavation", "floor_02_final_dig", "drawdown_02_final_dig"} <= found
    assert not found & {"wells", "wells_by_stage", "walls", "points", "borings"}


def test_a_wall_that_is_no_barrier_has_no_toe(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    line = [(466000.0, 5918000.0), (466010.0, 5918000.0)]
    basis = "holds soil, not water: no barrier"
    wall = WallEntry("W", "timber sheeting", False, line, None, basis, 0, [], [], [])
    other = RunFolder(run.path)
    other.__dict__["ledger"] = replace(run.ledger, walls=[wall], scheme="🕳/")
    package = write_layers(other, results, tmp_path)[0]
    assert package.name == "wellring.gpkg"
    (row,) = layer(package, "walls").itertuples()
    assert math.isnan(row.toe_min_m)
    assert math.isnan(row.leakage_1_s)
    assert not row.holds_water


def test_a_point_with_a_level_shows_the_head_there(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    (point,) = run.ledger.points
    result = results[-1]
    cell = run.plan_cell(point.x, point.y)
    deepest = int(np.flatnonzero(result.grid.active[:, cell])[-1])
    level = float(result.grid.mid[deepest, cell])
    other = RunFolder(run.path)
    x, y = (float(centres[cell]) for centres in run.centres)
    deep = [replace(point, x=x, y=y, level=level), replace(point, level=99.0)]
    other.__dict__["ledger"] = replace(run.ledger, points=deep)
    package = write_layers(other, results, tmp_path)[0]
    first, second = layer(package, "points").itertuples()
    assert first.water_last_m == pytest.approx(result.heads[deepest, cell])
    assert math.isnan(second.water_last_m)


def test_a_crs_that_is_not_known_is_told(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    other = RunFolder(run.path)
    other.__dict__["ledger"] = replace(run.ledger, crs="EPSG:999999")
    with pytest.raises(InputFaults, match=r"ledger\.json.*EPSG:999999"):
        write_layers(other, results, tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_crs_given_as_text_with_a_datum_shift_is_kept(
    run: RunFolder, results: list[StageResult], tmp_path: Path
) -> None:
    text = (
        "+proj=tmerc +lat_0=0 +lon_0=15 +k=0.9996 +x_0=500000 +y_0=0 +ellps=bessel "
        "+towgs84=598.1,73.7,418.2,0.202,0.045,-2.455,6.7 +units=m +no_defs"
    )
    other = RunFolder(run.path)
    other.__dict__["ledger"] = replace(run.ledger, crs=text)
    written = write_layers(other, results, tmp_path)
    # Both must put the pit where PROJ puts it.
    expected = pyproj.Transformer.from_crs(text, "EPSG:4326", always_xy=True).transform(
        466015, 5918010
    )
    read = layer(written[0], "excavation").crs
    with rasterio.open(written[1]) as file:
        raster = pyproj.CRS.from_user_input(file.crs)
    for crs in (read, raster):
        found = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(
            466015, 5918010
        )
        assert found == pytest.approx(expected, abs=1e-7)
