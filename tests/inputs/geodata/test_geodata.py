"""Polygons in vector layers: real files written with geopandas, read back, or refused."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from layer_files import (
    BOW_TIE,
    LONG_ISLAND,
    PIT,
    US_FOOT,
    UTM,
    geojson_polygon,
    only,
    polygon,
    write,
    write_geojson,
)

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.geodata import (
    read_features,
)


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "shp", "fgb"])
@pytest.mark.parametrize("crs", ["EPSG:32633", "EPSG:4326", "EPSG:25832", "EPSG:3035"])
def test_polygon_comes_back_the_same_through_any_crs(tmp_path: Path, suffix: str, crs: str) -> None:
    there = geopandas.GeoSeries([PIT], crs="EPSG:32633").to_crs(crs)[0]
    ref = write(there, tmp_path / f"pit.{suffix}", crs)
    found, faults = polygon(ref, tmp_path)
    assert faults.faults == []
    assert shapely.hausdorff_distance(found, PIT) < 1e-3
    assert found.exterior.is_ccw


def test_geojson_without_crs_member_is_longitude_latitude(tmp_path: Path) -> None:
    there = geopandas.GeoSeries([PIT], crs="EPSG:32633").to_crs("EPSG:4326")[0]
    ref = write_geojson(geojson_polygon(there.exterior.coords), tmp_path / "pit.geojson")
    found, _ = polygon(ref, tmp_path)
    assert shapely.hausdorff_distance(found, PIT) < 1e-3


def test_geojson_with_plan_coordinates_is_taken_as_such_with_a_warning(tmp_path: Path) -> None:
    ref = write_geojson(geojson_polygon(PIT.exterior.coords), tmp_path / "pit.geojson")
    found, faults = polygon(ref, tmp_path)
    assert found.equals(PIT)
    assert "beyond degrees" in faults.warnings[0]
    assert "pit.geojson" in faults.warnings[0]


def test_geojson_with_a_crs_member_for_the_site_is_silent(tmp_path: Path) -> None:
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    ref = write_geojson(geojson_polygon(PIT.exterior.coords), tmp_path / "pit.geojson", crs=crs)
    found, faults = polygon(ref, tmp_path)
    assert found.equals(PIT)
    assert faults.warnings == []


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        ([(52.5, 13.40), (52.5, 13.41), (52.51, 13.41)], "longitude before latitude"),
        ([(-74.0, 40.7), (-73.9, 40.7), (-73.9, 40.8)], "GeoJSON without a crs member"),
        ([(0, 0), (60, 0), (60, 40), (0, 40)], "In degrees it is 60 wide"),
        ([(100, 100), (160, 100), (160, 140)], "no longitudes and latitudes"),
    ],
)
def test_geojson_in_degrees_must_lie_where_the_crs_is_used(
    tmp_path: Path, corners: list, said: str
) -> None:
    ref = write_geojson(geojson_polygon([*corners, corners[0]]), tmp_path / "pit.geojson")
    found, faults = polygon(ref, tmp_path)
    assert found is None
    assert said in only(faults)
    assert "site.toml: excavation.outline is 'pit.geojson'" in only(faults)


def test_feet_are_metres_inside_and_feet_again_outside(tmp_path: Path) -> None:
    corners = [(990000, 200000), (990100, 200000), (990100, 200050), (990000, 200050)]
    direct, faults = polygon(corners, tmp_path, LONG_ISLAND)
    assert faults.faults == []
    assert direct.area == pytest.approx(100 * 50 * US_FOOT**2, rel=1e-9)
    assert LONG_ISLAND.from_metres(direct.exterior.coords)[0] == pytest.approx((990000, 200000))
    # The same ground from a file in UTM metres and one in degrees of the same datum.
    feet = geopandas.GeoSeries([shapely.Polygon(corners)], crs="EPSG:2263")
    for name, crs in [("a.gpkg", "EPSG:26918"), ("b.geojson", "EPSG:4269"), ("c.shp", 2263)]:
        ref = write(feet.to_crs(crs)[0], tmp_path / name, crs)
        found, faults = polygon(ref, tmp_path, LONG_ISLAND)
        assert faults.faults == []
        assert shapely.hausdorff_distance(found, direct) < 1e-3


def test_rough_reprojection_is_told(tmp_path: Path) -> None:
    # WGS 84 to NAD83 is good to a few metres unless a better shift is installed.
    feet = shapely.box(990000, 200000, 990100, 200050)
    there = geopandas.GeoSeries([feet], crs="EPSG:2263").to_crs(4326)[0]
    ref = write(there, tmp_path / "pit.gpkg", 4326)
    found, faults = polygon(ref, tmp_path, LONG_ISLAND)
    assert found is not None
    assert "good to" in faults.warnings[0]


def test_layer_without_crs_is_the_sites_with_a_warning(tmp_path: Path) -> None:
    ref = write(PIT, tmp_path / "pit.shp", "EPSG:32633")
    (tmp_path / "pit.prj").unlink()
    found, faults = polygon(ref, tmp_path)
    assert found.equals(PIT)
    assert "states no crs" in faults.warnings[0]


def test_corners_are_normalised_and_keep_their_first() -> None:
    clockwise = (
        (390000, 5820000),
        (390000, 5820040),
        (390000, 5820040),
        (390060, 5820040),
        (390060, 5820000.0004),
        (390060, 5820000),
        (390000, 5820000),
        (390000, 5820000),
    )
    found, faults = polygon(clockwise, Path())
    assert faults.faults == []
    assert found.exterior.is_ccw
    assert len(found.exterior.coords) == 5
    assert found.exterior.coords[0] == (390000, 5820000)
    assert found.area == pytest.approx(2400, abs=0.05)


with np.errstate(invalid="ignore"):
    NAN_LINE = shapely.linestrings([(390000, 5820000), (390060, np.nan)])


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        (BOW_TIE, "does at (390030.00, 5820020.00)"),
        ([(390000, 5820000), (390060, 5820000)], "at least 3 points"),
        ([(390000, 5820000)] * 5, "not 1"),
        ([(390000, 5820000), (390060, 5820000), (390060, 5820000)], "not 2"),
        ([(390000, 5820000), (390060, 5820000), (390120, 5820000)], "in a line"),
        ([(13.4, 52.5), (13.4005, 52.5), (13.4005, 52.5005)], "in degrees"),
        ([(390000, 5820000), (390060, 5820000), (390060, float("nan"))], "finite"),
        ([(390000, 5820000), (390060, 5820000), (390060, float("inf"))], "finite"),
        ([(1e308, 1e308), (-1e308, 0), (0, -1e308)], "within ±1e8"),
        ([(390000, 5820000), (390060, 5820000), (390060,)], "points [x, y]"),
        ([(390000, 5820000, 1), (390060, 5820000, 1), (390060, 5820040, 1)], "points [x, y]"),
        ([(5820000, 390000), (5820040, 390000), (5820040, 390060)], "exchange x and y"),
    ],
)
def test_unfit_corners_are_refused(corners: list, said: str) -> None:
    found, faults = polygon(corners, Path())
    assert found is None
    message = only(faults)
    assert message.startswith("site.toml: excavation.outline is '[[")
    assert said in message


@pytest.mark.parametrize(
    ("shapes", "said"),
    [
        ([PIT, shapely.box(390100, 5820000, 390160, 5820040)], "It holds 2 polygons"),
        (shapely.LineString(PIT.exterior.coords), None),
        (shapely.LineString([(390000, 5820000), (390060, 5820000)]), "It holds a LineString"),
        (shapely.Point(390000, 5820000), "It holds a Point"),
        (shapely.MultiPolygon([PIT]), None),
        (PIT.difference(shapely.box(390010, 5820010, 390020, 5820020)), "without holes"),
        (shapely.Polygon(BOW_TIE), "(390030.00, 5820020.00)"),
        (shapely.force_3d(PIT, 31.5), None),
        ([shapely.Polygon()], "The layer is empty"),
        (shapely.Polygon([(390000, 5820000), (390030, 5820000), (390060, 5820000)]), "in a line"),
        (shapely.transform(PIT, lambda xy: xy[:, ::-1]), "exchange x and y"),
        (NAN_LINE, "NaN"),
    ],
)
def test_a_file_must_hold_exactly_one_sound_polygon(
    tmp_path: Path, shapes, said: str | None
) -> None:
    ref = write(shapes, tmp_path / "pit.gpkg")
    found, faults = polygon(ref, tmp_path)
    if said is None:
        assert faults.faults == []
        assert found.equals(PIT)
        assert not found.has_z
    else:
        assert found is None
        assert said in only(faults)
        assert "'pit.gpkg'" in only(faults)


def test_pinched_outline_is_refused_where_it_touches() -> None:
    pinched = [
        (390000, 5820000),
        (390030, 5820020),
        (390060, 5820000),
        (390060, 5820040),
        (390030, 5820020),
        (390000, 5820040),
    ]
    found, faults = polygon(pinched, Path())
    assert found is None
    assert "(390030.00, 5820020.00)" in only(faults)


def test_files_that_are_none_are_refused(tmp_path: Path) -> None:
    (tmp_path / "pit.geojson").write_text("{ not json")
    (tmp_path / "pit.gpkg").write_bytes(b"SQLite format 3\x00 and then rubbish")
    (tmp_path / "pit.shp").write_bytes(b"\x00" * 50)
    (tmp_path / "pit.dwg").write_bytes(b"AC1032")
    (tmp_path / "empty.geojson").write_text('{"type": "FeatureCollection", "features": []}')
    write_geojson(geojson_polygon([(13.4, 52.5), (13.5, 52.5)]), tmp_path / "short.geojson")
    for ref in [
        "pit.geojson",
        "pit.gpkg",
        "pit.shp",
        "pit.dwg",
        "empty.geojson",
        "short.geojson",
        "none.gpkg",
        "https://example.org/pit.geojson",
        ".",
        "",
        "a\0b.gpkg",
        "n" * 5000 + ".shp",
    ]:
        found, faults = polygon(ref, tmp_path)
        assert found is None, ref
        assert only(faults).startswith("site.toml: excavation.outline"), ref
    _, faults = polygon("pitt.gpkg", tmp_path)
    assert "Did you mean 'pit.gpkg'?" in only(faults)


def test_layers_of_a_geopackage_are_named(tmp_path: Path) -> None:
    path = tmp_path / "plan.gpkg"
    write(PIT, path, layer="pit")
    write(shapely.Point(390000, 5820000), path, layer="wells")
    _, faults = polygon("plan.gpkg", tmp_path)
    assert 'write "plan.gpkg#pit" to take one' in only(faults)
    found, faults = polygon("plan.gpkg#pit", tmp_path)
    assert found.equals(PIT)
    assert faults.faults == []
    _, faults = polygon("plan.gpkg#pitt", tmp_path)
    assert "Did you mean 'pit'?" in only(faults)


def test_features_keep_attributes_and_tell_of_empty_ones(tmp_path: Path) -> None:
    ref = write([PIT, None, shapely.Point(390000, 5820000)], tmp_path / "all.gpkg")
    faults = FaultLog()
    table = read_features(ref, tmp_path, UTM, faults, "site.toml", "neighbours[0].file")
    assert list(table["name"]) == ["0", "2"]
    assert table.crs is None
    assert "1 features without geometry" in faults.warnings[0]
