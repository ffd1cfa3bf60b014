"""Natural water levels: piezometer tables from real files, and the planes through them."""

from __future__ import annotations

import math
import pickle
from pathlib import Path

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.geodata.geodata import SiteCrs
from wellring.inputs.measured.piezometers import LevelPlane, Piezometers, read_piezometers
from wellring.inputs.site.site import Plane

UTM = SiteCrs.of(pyproj.CRS("EPSG:32633"), "EPSG:32633")
LONG_ISLAND = SiteCrs.of(pyproj.CRS("EPSG:2263"), "EPSG:2263")
SOILS = ("fill", "clay", "sand")


def read(tmp_path: Path, text: str, crs: SiteCrs = UTM) -> tuple[Piezometers | None, FaultLog]:
    (tmp_path / "water.csv").write_text(text, encoding="utf-8")
    faults = FaultLog()
    return read_piezometers("water.csv", tmp_path, crs, SOILS, faults, "site.toml"), faults


def sound(tmp_path: Path, text: str, crs: SiteCrs = UTM) -> Piezometers:
    found, faults = read(tmp_path, text, crs)
    assert faults.faults == []
    assert found is not None
    return found


def table(*rows: tuple) -> str:
    return "id,x,y,level,soil\n" + "".join(",".join(map(str, row)) + "\n" for row in rows)


def on_plane(x: float, y: float) -> float:
    return 3.2 - 0.003 * (x - 390000) + 0.004 * (y - 5820000)


PLACES = [(390000, 5820000), (390100, 5820010), (390040, 5820090), (390120, 5820130)]


# --- planes ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("toward", "ahead"),
    [
        (0, (0, 100)),
        (90, (100, 0)),
        (180, (0, -100)),
        (270, (-100, 0)),
        (45, (100 / math.sqrt(2), 100 / math.sqrt(2))),
    ],
)
def test_plane_falls_toward_its_azimuth(toward: float, ahead: tuple) -> None:
    given_plane = Plane(point=(1000, 2000), level=3.0, gradient="1/200", toward=toward)
    plane = LevelPlane.from_table(given_plane)
    assert plane.at(1000, 2000) == pytest.approx(3.0)
    assert plane.at(1000 + ahead[0], 2000 + ahead[1]) == pytest.approx(2.5)
    assert plane.toward == pytest.approx(toward)
    assert plane.gradient == pytest.approx(0.005)
    assert "0.005" in plane.basis


def test_plane_point_in_feet() -> None:
    given_plane = Plane(point=(990000, 200000), level=3.0, gradient=0.01, toward=90)
    plane = LevelPlane.from_table(given_plane, LONG_ISLAND)
    there = LONG_ISLAND.to_metres([990100, 200000])
    # A gradient has no unit: 100 ft on, the level is 1 ft lower, in metres.
    assert plane.at(*there) == pytest.approx(3.0 - 1200 / 3937)


def test_constant_level() -> None:
    plane = LevelPlane.constant(3.2)
    assert plane.at(np.array([[1.0, 2.0]]), np.array([[5.0, 6.0]])) == pytest.approx(
        np.full((1, 2), 3.2)
    )
    assert (plane.gradient, plane.toward) == (0.0, 0.0)
    assert pickle.loads(pickle.dumps(plane)) == plane
    assert hash(plane) == hash(LevelPlane.constant(3.2))


# --- fitting ---------------------------------------------------------------------------------


def test_plane_through_exact_readings_is_found(tmp_path: Path) -> None:
    rows = [(f"P{i}", x, y, on_plane(x, y), "sand") for i, (x, y) in enumerate(PLACES)]
    piezometers = sound(tmp_path, table(*rows))
    faults = FaultLog()
    plane = piezometers.level_function("sand", faults)
    assert plane.at(390500, 5820500) == pytest.approx(on_plane(390500, 5820500))
    assert plane.gradient == pytest.approx(0.005)
    assert plane.toward == pytest.approx(math.degrees(math.atan2(0.003, -0.004)))  # 143.1°
    assert "through 4 readings in sand" in plane.basis
    assert "residual standard deviation 0.00 m" in plane.basis
    assert faults.warnings == []
    assert "exact through 3 points" in sound(tmp_path, table(*rows[:3])).level_function(None).basis


def test_residual_standard_deviation(tmp_path: Path) -> None:
    # Corners of a square, errors +e −e +e −e: orthogonal to every plane, so all is residual;
    # with 4 points and 3 unknowns the deviation is sqrt(4 e² / 1) = 2 e.
    corners = [(0, 0, 0.1), (100, 0, -0.1), (100, 100, 0.1), (0, 100, -0.1)]
    rows = [(f"P{i}", 390000 + x, 5820000 + y, 3.0 + e, "") for i, (x, y, e) in enumerate(corners)]
    plane = sound(tmp_path, table(*rows)).level_function(None)
    assert plane.gradient == pytest.approx(0.0, abs=1e-12)
    assert plane.a == pytest.approx(3.0)
    assert "residual standard deviation 0.20 m" in plane.basis


@given(
    slopes=st.tuples(st.floats(-0.04, 0.04), st.floats(-0.04, 0.04)),
    level=st.floats(-50, 500),
    errors=st.lists(st.floats(-0.5, 0.5), min_size=4, max_size=4),
)
def test_fit_is_the_least_squares_optimum(slopes: tuple, level: float, errors: list) -> None:
    from wellring.inputs.measured.piezometers import PiezometerReading

    readings = tuple(
        PiezometerReading(
            str(i), x, y, level + slopes[0] * (x - 390000) + slopes[1] * (y - 5820000) + error
        )
        for i, ((x, y), error) in enumerate(zip(PLACES, errors, strict=True))
    )
    plane = Piezometers(readings, "water.csv").level_function(None)
    xy, z = np.array(PLACES, dtype=float), np.array([r.level for r in readings])
    left = z - plane.at(xy[:, 0], xy[:, 1])
    # Normal equations: residuals add up to nothing, alone and against x and y.
    assert left.sum() == pytest.approx(0, abs=1e-7)
    assert left @ (xy - xy.mean(axis=0)) == pytest.approx([0, 0], abs=1e-5)


def test_few_or_collinear_points_give_the_mean(tmp_path: Path) -> None:
    two = sound(
        tmp_path, table(("A", 390000, 5820000, 3.0, "sand"), ("B", 390100, 5820000, 3.4, "sand"))
    )
    plane = two.level_function("sand")
    assert (plane.a, plane.gradient) == (pytest.approx(3.2), 0.0)
    assert plane.basis == "mean level of 2 readings in sand (water.csv)"
    one = sound(tmp_path, table(("A", 390000, 5820000, 3.0, "sand")))
    assert one.level_function("sand").a == pytest.approx(3.0)
    nearly = sound(
        tmp_path,
        table(
            *[
                (f"P{i}", 390000 + 100 * i, 5820000 + 50 * i + i % 2, 3 + 0.1 * i, "")
                for i in range(5)
            ]
        ),
    )
    plane = nearly.level_function(None)
    assert (plane.a, plane.gradient) == (pytest.approx(3.2), 0.0)
    assert "lie in a line" in plane.basis
    same = sound(tmp_path, table(*[(f"P{i}", 390000, 5820000, 3 + i, "") for i in range(3)]))
    assert same.level_function(None).a == pytest.approx(4.0)


def test_each_aquifer_has_its_own_level(tmp_path: Path) -> None:
    piezometers = sound(
        tmp_path,
        table(
            ("A", 390000, 5820000, 3.0, "sand"),
            ("A", 390000, 5820000, 5.0, "fill"),
            ("B", 390100, 5820000, 3.2, "sand"),
            ("C", 390100, 5820000, 9.0, ""),
        ),
    )
    assert piezometers.soils == ("sand", "fill")
    assert piezometers.xy.shape == (4, 2)
    faults = FaultLog()
    assert piezometers.level_function("sand", faults).a == pytest.approx(3.1)
    assert piezometers.level_function("fill", faults).a == pytest.approx(5.0)
    assert faults.warnings == []
    plane = piezometers.level_function("clay", faults)
    assert plane.a == pytest.approx((3.0 + 5.0 + 3.2 + 9.0) / 4)
    assert "none of them in clay" in plane.basis
    assert "water.csv: no reading in clay; all readings are used for it" in faults.warnings


def test_steep_or_badly_fitting_planes_are_told(tmp_path: Path) -> None:
    steep = sound(
        tmp_path,
        table(
            ("A", 390000, 5820000, 3.0, ""),
            ("B", 390100, 5820000, 9.0, ""),
            ("C", 390000, 5820100, 3.0, ""),
        ),
    )
    faults = FaultLog()
    steep.level_function(None, faults)
    assert "falls 0.06 toward azimuth 270°" in faults.warnings[0]
    rows = [(f"P{i}", x, y, on_plane(x, y), "") for i, (x, y) in enumerate(PLACES)]
    rows += [("Q", 390060, 5820060, on_plane(390060, 5820060) + 2.0, "")]
    faults = FaultLog()
    sound(tmp_path, table(*rows)).level_function(None, faults)
    assert len(faults.warnings) == 1
    assert "Q lies +1." in faults.warnings[0]
    assert "off the plane" in faults.warnings[0]


# --- reading ---------------------------------------------------------------------------------


def test_latest_reading_counts_and_is_told(tmp_path: Path) -> None:
    found, faults = read(
        tmp_path,
        (
            "id,x,y,level,soil,date\n"
            "A,390000,5820000,3.0,sand,2024-03-01\n"
            "A,390000,5820000,2.1,sand,2024-11-30 14:30\n"
            "A,390000,5820000,2.8,sand,2024-05-01\n"
            "A,390000,5820000,4.4,fill,\n"
            "B,390050,5820000,2.5,,2020-01-01\n"
        ),
    )
    assert faults.faults == []
    assert [(r.id, r.level) for r in found.readings] == [("A", 2.1), ("A", 4.4), ("B", 2.5)]
    assert faults.warnings == [
        "water.csv: several readings, the latest is used: A in sand (2024-11-30T14:30:00)"
    ]
    assert pickle.loads(pickle.dumps(found)) == found
    assert isinstance(hash(found), int)


def test_feet_coordinates_and_levels_with_a_unit(tmp_path: Path) -> None:
    found = sound(
        tmp_path, 'id,x,y,level\nA,990000,200000,10 ft\nB,990100,200000,"3.1"\n', LONG_ISLAND
    )
    assert found.readings[0].level == pytest.approx(3.048)
    assert found.readings[1].level == pytest.approx(3.1)
    assert found.xy[1, 0] - found.xy[0, 0] == pytest.approx(100 * 1200 / 3937)


def test_semicolons_decimal_commas_and_windows_text(tmp_path: Path) -> None:
    (tmp_path / "water.csv").write_bytes(
        "ID;X;Y;Level;Bemerkung\nGWM Süd;390000,5;5820000;3,25;trüb\n".encode("cp1252")
    )
    faults = FaultLog()
    found = read_piezometers("water.csv", tmp_path, UTM, SOILS, faults, "site.toml")
    assert (found.readings[0].id, found.readings[0].x, found.readings[0].level) == (
        "GWM Süd",
        390000.5,
        3.25,
    )
    assert faults.warnings == [
        "water.csv: not in UTF-8, read as Windows-1252; check names with accents",
        "water.csv: columns not used: bemerkung",
    ]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("A,390000,5820000,,sand,", "water.csv:2: column level is '(empty)'"),
        ("A,390000,5820000,dry,sand,", "water.csv:2: column level is 'dry'; expected a length"),
        ("A,390000,5820000,3 gpm,sand,", "column level is '3 gpm'"),
        ("A,390000,5820000,9999,sand,", "column level is '9999'; expected a level from -2000"),
        ("A,390000,5820000,nan,sand,", "column level is 'nan'"),
        ("A,east,5820000,3,sand,", "water.csv:2: column x is 'east'"),
        ("A,1e300,5820000,3,sand,", "expected coordinates within ±1e8"),
        (",390000,5820000,3,sand,", "water.csv:2: column id is '(empty)'"),
        (
            "A,390000,5820000,3,sadn,",
            "column soil is 'sadn'; expected a soil of the site file. Did you mean 'sand'?",
        ),
        ("A,390000,5820000,3,sand,31.05.2024", "column date is '31.05.2024'; expected a date such"),
        ("A,5820000,390000,3,sand,", "exchange x and y"),
        (
            "A,390000,5820000,3,sand,\nA,390000,5820000,3.1,sand,2024-01-01",
            "column date of A in sand is '(empty)'; expected a date in every row",
        ),
        (
            "A,390000,5820000,3,,2024-01-01\nA,390000,5820000,3.1,,2024-01-01",
            "water.csv:3: column date of A is '2024-01-01T00:00:00'; expected one reading",
        ),
        (
            "A,390000,5820000,3,sand,\nA,390001,5820000,3.1,fill,",
            "water.csv:3: columns x, y of A is '(390001.00, 5820000.00)'; expected the same place",
        ),
    ],
)
def test_unfit_rows_are_refused_with_line_and_value(tmp_path: Path, row: str, said: str) -> None:
    found, faults = read(tmp_path, f"id,x,y,level,soil,date\n{row}\n")
    assert found is None
    assert len(faults.faults) == 1
    assert said in str(faults.faults[0])


def test_all_faults_of_a_table_are_collected(tmp_path: Path) -> None:
    _, faults = read(tmp_path, table(("", "a", "b", "c", "d"), ("", 1, 2, 3, "sand")))
    assert len(faults.faults) == 6
    assert {fault.line for fault in faults.faults} == {2, 3}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "at least one row"),
        ("id,x,y,level\n", "at least one row"),
        ("id,x,y,levle\nA,1,2,3\n", "expected a column level. Did you mean 'levle'?"),
        ("name,x,y,level\nA,1,2,3\n", "expected a column id. Other columns: name"),
        ("id,x,y,level\nA,1,2,3,4\n", "expected 4 cells as in the header"),
        ('id,x,y,level\n"A,1,2,3\n', "column x is '(empty)'"),
    ],
)
def test_unfit_tables_are_refused(tmp_path: Path, text: str, said: str) -> None:
    found, faults = read(tmp_path, text)
    assert found is None
    assert said in "\n".join(map(str, faults.faults))


def test_missing_file_is_refused(tmp_path: Path) -> None:
    faults = FaultLog()
    assert read_piezometers("none.csv", tmp_path, UTM, SOILS, faults, "site.toml") is None
    assert str(faults.faults[0]) == (
        "site.toml: water.piezometers is 'none.csv'; expected a CSV file with columns "
        "id,x,y,level. There is no such file"
    )
