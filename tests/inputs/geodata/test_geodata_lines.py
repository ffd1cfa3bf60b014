"""Lines, points and places in vector layers, as in test_geodata.py."""

from __future__ import annotations

import subprocess
import sys
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
    line,
    only,
    points,
    write,
)

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.geodata import (
    check_near,
    read_line_or_polygon,
)

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
        "import sys, wellring.inputs.geodata.geodata, wellring.inputs.geodata.surface;"
        "import wellring.inputs.measured.piezometers;"
        "print([m for m in ('geopandas','pyogrio','rasterio','pandas','scipy','pyproj','pint')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
