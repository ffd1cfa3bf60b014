"""Vector layers: real files written with geopandas, read back in site metres, or refused."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from wellring.inputs.faults import FaultLog
from wellring.inputs.geodata import (
    SiteCrs,
    check_near,
    read_features,
    read_line,
    read_line_or_polygon,
    read_points,
    read_polygon,
)

UTM = SiteCrs.of(pyproj.CRS("EPSG:32633"), "EPSG:32633")
LONG_ISLAND = SiteCrs.of(pyproj.CRS("EPSG:2263"), "EPSG:2263")
PIT = shapely.box(390000, 5820000, 390060, 5820040)
US_FOOT = 1200 / 3937


def write(shapes, path: Path, crs: object = "EPSG:32633", **more: object) -> str:
    shapes = shapes if isinstance(shapes, list) else [shapes]
    table = geopandas.GeoDataFrame(
        {"name": [str(i) for i in range(len(shapes))]}, geometry=shapes, crs=crs
    )
    table.to_file(path, **more)
    return path.name


def write_geojson(geometry: dict, path: Path, **members: object) -> str:
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    content = {"type": "FeatureCollection", "features": [feature], **members}
    path.write_text(json.dumps(content))
    return path.name


def geojson_polygon(corners) -> dict:
    return {"type": "Polygon", "coordinates": [[list(xy) for xy in corners]]}


def polygon(ref, folder: Path, crs: SiteCrs = UTM) -> tuple[shapely.Polygon | None, FaultLog]:
    faults = FaultLog()
    return read_polygon(ref, folder, crs, faults, "site.toml", "excavation.outline"), faults


def line(ref, folder: Path, crs: SiteCrs = UTM) -> tuple[shapely.LineString | None, FaultLog]:
    faults = FaultLog()
    return read_line(ref, folder, crs, faults, "site.toml", "walls[0].line"), faults


def points(ref, folder: Path, crs: SiteCrs = UTM) -> tuple[np.ndarray | None, FaultLog]:
    faults = FaultLog()
    return read_points(ref, folder, crs, faults, "site.toml", "schemes[0].points"), faults


def only(faults: FaultLog) -> str:
    """The text of the one fault there is."""
    assert len(faults.faults) == 1, faults.faults
    return str(faults.faults[0])


# --- polygons --------------------------------------------------------------------------------


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
BOW_TIE = [(390000, 5820000), (390060, 5820040), (390060, 5820000), (390000, 5820040)]


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


# --- lines -----------------------------------------------------------------------------------


def test_stretches_that_meet_become_one_line(tmp_path: Path) -> None:
    stretches = shapely.MultiLineString(
        [
            [(390000, 5820000), (390010, 5820000)],
            [(390020, 5820000), (390010, 5820000.004)],  # drawn backward, 4 mm off
            [(390020, 5820000), (390030, 5820005)],
        ]
    )
    found, faults = line(write(stretches, tmp_path / "river.gpkg"), tmp_path)
    assert faults.faults == []
    assert sorted(x for x, _ in found.coords) == [390000, 390010, 390020, 390030]


@pytest.mark.parametrize(
    ("shapes", "said"),
    [
        (
            [
                shapely.LineString([(390000, 5820000), (390010, 5820000)]),
                shapely.LineString([(390011, 5820000), (390020, 5820000)]),
            ],
            "2 that do not join",
        ),
        (shapely.LineString(BOW_TIE), "(390030.00, 5820020.00)"),
        (PIT, "It holds a Polygon"),
        (shapely.LineString([(390000, 5820000), (390000, 5820000)]), "two different points"),
    ],
)
def test_unfit_lines_are_refused(tmp_path: Path, shapes, said: str) -> None:
    found, faults = line(write(shapes, tmp_path / "wall.gpkg"), tmp_path)
    assert found is None
    assert said in only(faults)
    assert "site.toml: walls[0].line is 'wall.gpkg'" in only(faults)


def test_line_from_corners_in_feet() -> None:
    found, _ = line([(990000, 200000), (990300, 200400)], Path(), LONG_ISLAND)
    assert found.length == pytest.approx(500 * US_FOOT)
    ring, _ = line([(0, 0), (9, 0), (9, 9), (0, 0)], Path())
    assert ring.is_ring


def test_line_or_polygon_takes_what_there_is(tmp_path: Path) -> None:
    def read(ref):
        faults = FaultLog()
        return read_line_or_polygon(ref, tmp_path, UTM, faults, "site.toml", "water.boundary[0]")

    river = shapely.LineString([(390000, 5820000), (390060, 5820040)])
    assert read(write(PIT, tmp_path / "pond.gpkg")).equals(PIT)
    assert read(write(river, tmp_path / "river.gpkg")).equals(river)
    assert read(list(river.coords)).equals(river)
    assert read(list(PIT.exterior.coords)).equals(PIT)
    assert read([(0, 0)]) is None


# --- points ----------------------------------------------------------------------------------

WELLS = np.array([(390000.0, 5820000.0), (390010.0, 5820000.0), (390020.0, 5820005.0)])


def test_points_keep_their_order_from_every_source(tmp_path: Path) -> None:
    there = geopandas.GeoSeries(list(shapely.points(WELLS)), crs="EPSG:32633").to_crs(4326)
    (tmp_path / "wells.csv").write_text(
        "id,X,Y\n" + "".join(f"w{i},{x},{y}\n" for i, (x, y) in enumerate(WELLS))
    )
    (tmp_path / "komma.csv").write_text(
        "x;y\n" + "".join(f"{x};{y}\n".replace(".", ",") for x, y in WELLS), encoding="utf-8-sig"
    )
    for ref in [
        write(list(there), tmp_path / "wells.geojson", 4326),
        write(shapely.MultiPoint(WELLS), tmp_path / "multi.gpkg"),
        "wells.csv",
        "komma.csv",
        WELLS.tolist(),
    ]:
        found, faults = points(ref, tmp_path)
        assert faults.faults == []
        assert found == pytest.approx(WELLS, abs=1e-3)


def test_repeated_points_are_left_out_and_told() -> None:
    found, faults = points([*WELLS.tolist(), (390010.002, 5820000)], Path())
    assert found == pytest.approx(WELLS)
    assert "1 repeated points left out, as (390010.00, 5820000.00)" in faults.warnings[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x,y\n1,2\n3,abc\n", "wells.csv:3: column y is 'abc'; expected a plain number"),
        ("x,y\n1,\n", "wells.csv:2: column y is '(empty)'"),
        ("x,y\n1,nan\n", "column y is 'nan'"),
        ("east,north\n1,2\n", "expected a column x"),
        ("x,y\n1e300,2\n", "within ±1e8"),
        ("x,y\n", "at least one row"),
        ("", "at least one row"),
        ("x,y,x\n1,2,3\n", "one column x"),
        ("x,y\n1,2,3\n", "wells.csv:2: row is '1,2,3'; expected 2 cells"),
        ("x,y\n5820000,390000\n", "exchange x and y"),
    ],
)
def test_unfit_csv_points_are_refused_with_their_line(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "wells.csv").write_text(text)
    found, faults = points("wells.csv", tmp_path)
    assert found is None
    assert said in "\n".join(map(str, faults.faults))


def test_points_refuse_other_shapes_and_missing_files(tmp_path: Path) -> None:
    _, faults = points(write(PIT, tmp_path / "wells.gpkg"), tmp_path)
    assert "It holds a Polygon" in only(faults)
    _, faults = points("none.csv", tmp_path)
    assert "There is no such file" in only(faults)
    _, faults = points([], tmp_path)
    assert "points [x, y]" in only(faults)


# --- places ----------------------------------------------------------------------------------


def test_far_away_shapes_are_faults() -> None:
    faults = FaultLog()
    river = shapely.LineString([(395000, 5820000), (600000, 5820000)])
    assert check_near(river, PIT, faults, "site.toml", "water.boundary[0].line")
    assert check_near(WELLS, PIT, faults, "site.toml", "points")
    assert faults.faults == []
    stray = np.vstack([WELLS, [500000, 5820000]])
    assert not check_near(stray, PIT, faults, "site.toml", "schemes[0].points", "wells.csv")
    message = only(faults)
    assert "schemes[0].points is 'wells.csv'" in message
    assert "110 km away; is it in another coordinate system?" in message


def test_heavy_libraries_are_imported_only_when_a_file_is_read() -> None:
    code = (
        "import sys, wellring.inputs.geodata, wellring.inputs.surface, wellring.inputs.piezometers;"
        "print([m for m in ('geopandas','pyogrio','rasterio','pandas','scipy','pyproj','pint')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
