"""How the data of Millrace Yard were invented: run it and every data file is written again.

    python make_data.py

Nothing here was measured. A ground of seven soils is described as smooth surfaces in a frame
(u, v) turned 23° against the map grid, with the corner of the pit at its origin, u along the
street and v away from the river; small seeded scatter is added where a boring samples it. The
same logs are then written twice, as CSV and as AGS4.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
from numpy.typing import ArrayLike, NDArray
from pyproj import Transformer
from python_ags4 import AGS4
from rasterio.transform import from_origin

FOLDER = Path(__file__).parent
CRS = "EPSG:32633"
ORIGIN = (466200.0, 5918400.0)
TURN = np.radians(23.0)
SEED = 1894
DATE = "2024-05-14"

# (u, v) [m].
PIT = [(0, 0), (60, 0), (60, 24), (26, 24), (26, 45), (0, 45)]
WALL = [(0, 45), (0, 0), (60, 0)]
RIVER = [
    (-1100, -215), (-600, -170), (-300, -150), (-80, -128),
    (60, -135), (250, -160), (520, -150), (1100, -195),
]  # fmt: skip
BORINGS = {
    "BH01": (8, 38), "BH02": (52, 12), "BH03": (20, 8), "BH04": (75, 40),
    "BH05": (-35, 20), "BH06": (30, -60), "BH07": (-60, -112), "BH08": (130, -118),
    "BH09": (-180, 90), "BH10": (40, 160), "BH11": (300, 250), "BH12": (390, 330),
    "BH13": (250, 420), "BH14": (-300, 300), "BH15": (60, -330), "BH16": (10, 60),
}  # fmt: skip
ROW = [(-4 + 11.5 * k, -40.0) for k in range(6)]
"""Lower corners of the houses of Mill Row, 10 m wide and 14 m deep, between pit and river."""
OLD_MILL = [(-38, -2), (-16, -2), (-16, 16), (-38, 16)]
"""The mill on wood piles."""
MAIN = [(-160, -8), (-40, -8), (70, -8), (220, -6)]
"""A water main under the street."""
FEN = [(150, -90), (260, -95), (270, -20), (160, -10)]
"""A wet meadow on the pit's bank."""
DYE_WORKS = [(-95, 70), (-65, 70), (-65, 95), (-95, 95)]
"""Ground of an old dye works, its water fouled in the upper sand."""
YARD_WELL = (96.0, 92.0)
"""A neighbour's well in the sand."""
STOPPED_AT = {"BH09": 15.5, "BH16": 12.0}
"""Borings given up before the marl, and the depth [m] where they ended."""
IN_SAND = ("BH01", "BH05", "BH07", "BH08", "BH09", "BH10", "BH13", "BH14", "BH15")
IN_GRAVEL = ("BH01", "BH06", "BH07", "BH10", "BH12", "BH14", "BH15")

SOILS = {
    "fill": ("MG", "Brown sandy ash and brick rubble (made ground)"),
    "soft clay": ("CLS", "Soft grey organic silty CLAY"),
    "sand": ("SA", "Medium dense grey fine to medium SAND"),
    "silt": ("SI", "Grey laminated sandy SILT"),
    "stiff clay": ("CLT", "Stiff dark grey CLAY"),
    "gravel": ("GR", "Dense sandy fine to coarse GRAVEL"),
    "marl": ("MRL", "Hard pale grey calcareous CLAY (marl)"),
}

Floats = NDArray[np.float64]
Interval = tuple[float, float, str]
Log = tuple[float, float, float, list[Interval]]
"""x, y, ground level and (top depth, bottom depth, soil) [m] of one boring."""


def to_map(points: ArrayLike) -> Floats:
    """Points (n, 2) from the turned frame (u, v) to map coordinates (x, y) [m]."""
    u, v = np.asarray(points, float).T
    cos, sin = np.cos(TURN), np.sin(TURN)
    return np.column_stack([ORIGIN[0] + u * cos - v * sin, ORIGIN[1] + u * sin + v * cos])


def from_map(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """The turned frame's (u, v) of map coordinates [m]."""
    dx, dy = np.asarray(x, float) - ORIGIN[0], np.asarray(y, float) - ORIGIN[1]
    cos, sin = np.cos(TURN), np.sin(TURN)
    return dx * cos + dy * sin, dy * cos - dx * sin


def from_river(u: ArrayLike, v: ArrayLike) -> Floats:
    """Signed distance [m] from the river along v: positive on the pit's bank."""
    line = np.array(RIVER, float)
    return np.asarray(v, float) - np.interp(np.asarray(u, float), line[:, 0], line[:, 1])


def ground_level(u: ArrayLike, v: ArrayLike) -> Floats:
    """Ground level [m], falling to the river from both banks; its channel is not cut in."""
    d = from_river(u, v)
    swells = 0.12 * np.sin(np.asarray(u) / 140) * np.cos(np.asarray(v) / 180)
    return 3.4 + np.where(d > 0, 0.0047, 0.0030) * np.abs(d) + swells * np.tanh(np.abs(d) / 60)


def log_boring(u: float, v: float, scatter: np.random.Generator) -> tuple[float, list[Interval]]:
    """Ground level and the soils that a boring at (u, v) meets, depths rounded to 5 cm."""
    away = abs(float(from_river(u, v)))
    northeast = 0.65 * u + 0.76 * v
    ground = round(float(ground_level(u, v)) + scatter.normal(0, 0.02), 2)
    fill = (1.5 if away < 250 else 0.7) + scatter.normal(0, 0.15)
    soft = np.clip(1.6 * np.clip((330 - away) / 200, 0, 1) + scatter.normal(0, 0.1), 0, None)
    sand_base = -10.8 + 0.0008 * u - 0.0005 * v + scatter.normal(0, 0.15)
    # The lens lies under the western arm of the pit and pinches out below its eastern one.
    lens = 1.0 - ((u + 25) / 80) ** 2 - ((v - 15) / 60) ** 2
    lens_top = -2.9 + scatter.normal(0, 0.08)
    stiff = 3.1 * np.clip(1 - (northeast - 120) / 300, 0, 1) * (1 - 0.0008 * u)
    stiff = stiff + scatter.normal(0, 0.1) if stiff > 0.5 else stiff
    gravel_base = -18.8 + 0.001 * u + scatter.normal(0, 0.2)
    bottoms: list[tuple[str, float]] = [("fill", ground - fill)]
    if soft > 0.25:
        bottoms.append(("soft clay", ground - fill - soft))
    if lens > 0.25:
        bottoms += [("sand", lens_top), ("silt", lens_top - lens)]
    bottoms.append(("sand", sand_base))
    if stiff > 0.25:
        bottoms.append(("stiff clay", sand_base - stiff))
    bottoms += [("gravel", gravel_base), ("marl", gravel_base - scatter.uniform(1.2, 2.2))]
    intervals, top = [], 0.0
    for soil, level in bottoms:
        bottom = round(round((ground - level) / 0.05) * 0.05, 2)
        intervals.append((top, bottom, soil))
        top = bottom
    return ground, intervals


def drill() -> dict[str, Log]:
    """Every boring's collar and log; the two that were given up end early."""
    scatter = np.random.default_rng(SEED)
    logs: dict[str, Log] = {}
    places = np.round(to_map(list(BORINGS.values())), 2)
    for name, (x, y) in zip(BORINGS, places, strict=True):
        u, v = from_map(x, y)
        ground, intervals = log_boring(float(u), float(v), scatter)
        end = STOPPED_AT.get(name, intervals[-1][1])
        kept = [(top, min(bottom, end), soil) for top, bottom, soil in intervals if top < end]
        logs[name] = (float(x), float(y), ground, kept)
    return logs


def natural_levels(logs: dict[str, Log]) -> list[tuple[str, str, float]]:
    """Rest levels [m] as (boring, soil, level).

    The sand's water falls to the river and on to drained meadows beyond it; the gravel's lies
    under pressure, and the two agree in the north-east, where no clay parts them.
    """
    scatter = np.random.default_rng(SEED + 1)
    levels = []
    for soil, names in (("sand", IN_SAND), ("gravel", IN_GRAVEL)):
        for name in names:
            d = float(from_river(*from_map(logs[name][0], logs[name][1])))
            level = 1.9 + 0.0019 * d if soil == "sand" else 2.70 + 0.00035 * d
            levels.append((name, soil, round(level + scatter.normal(0, 0.02), 2)))
    return levels


def water_readings(logs: dict[str, Log]) -> list[tuple[str, str, float, str]]:
    """Readings as (boring, kind, depth [m], soil): strikes on drilling, rest levels in pipes."""
    readings = []
    for name, (x, y, ground, intervals) in logs.items():
        table = 1.9 + 0.0019 * float(from_river(*from_map(x, y)))
        sand = next(top for top, _, soil in intervals if soil == "sand")
        readings.append((name, "strike", round(max(sand, ground - table), 2), "sand"))
        above = [soil for _, _, soil in intervals]
        if "gravel" in above and "stiff clay" in above:
            top = next(top for top, _, soil in intervals if soil == "gravel")
            readings.append((name, "strike", top, "gravel"))
    for name, soil, level in natural_levels(logs):
        readings.append((name, "level", round(logs[name][2] - level, 2), soil))
    return sorted(readings, key=lambda row: row[0])


def write_table(path: Path, heading: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write one CSV file."""
    path.parent.mkdir(exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heading)
        writer.writerows(rows)


def write_csv(logs: dict[str, Log]) -> None:
    """The logs, water readings and piezometers as CSV."""
    data = FOLDER / "borings"
    collars = [(name, x, y, ground, log[-1][1]) for name, (x, y, ground, log) in logs.items()]
    write_table(data / "collars.csv", ["id", "x", "y", "ground", "final_depth"], collars)
    layers = [(name, *interval) for name, log in logs.items() for interval in log[3]]
    write_table(data / "layers.csv", ["id", "top_depth", "bottom_depth", "soil"], layers)
    readings = [(name, DATE, kind, depth, soil) for name, kind, depth, soil in water_readings(logs)]
    write_table(data / "water.csv", ["id", "date", "kind", "depth", "soil"], readings)
    pipes = [
        (f"{name}-{soil}", *logs[name][:2], soil, level, DATE)
        for name, soil, level in natural_levels(logs)
    ]
    heading = ["id", "x", "y", "soil", "level", "date"]
    write_table(FOLDER / "piezometers.csv", heading, pipes)


def ags_group(
    columns: Sequence[tuple[str, str, str]], rows: Iterable[Sequence[str]]
) -> pd.DataFrame:
    """One AGS4 group from (heading, unit, type) columns and rows of text."""
    names = ["HEADING", *(name for name, _, _ in columns)]
    units = ["UNIT", *(unit for _, unit, _ in columns)]
    types = ["TYPE", *(kind for _, _, kind in columns)]
    return pd.DataFrame([units, types, *(["DATA", *row] for row in rows)], columns=names)


def write_ags(logs: dict[str, Log]) -> None:
    """The same logs and readings as one AGS4 file (edition 4.1.1)."""
    soil_of_pipe = {name: [] for name in logs}  # type: dict[str, list[str]]
    for name, soil, _ in natural_levels(logs):
        soil_of_pipe[name].append(soil)
    text, two = ("", "X"), ("m", "2DP")
    spans = {name: {s: (t, b) for t, b, s in log[3]} for name, log in logs.items()}
    readings = water_readings(logs)
    codes = [("GEOL_GEOL", code, words) for code, words in SOILS.values()]
    codes += [
        ("LOCA_TYPE", "CP", "Cable percussion (shell and auger)"),
        ("MONG_TYPE", "SPIE", "Standpipe piezometer"),
        ("MOND_TYPE", "WDEP", "Depth to water from LOCA_ID datum"),
        ("LOCA_GREF", "UTM33", "UTM zone 33 north on WGS84 (EPSG:32633)"),
    ]
    units = [("m", "metre"), ("yyyy-mm-dd", "year month day")]
    kinds = [
        ("ID", "Unique identifier"), ("X", "Text"), ("DT", "Date time in international format"),
        ("PA", "Text listed in ABBR group"), ("PU", "Text listed in UNIT group"),
        ("PT", "Text listed in TYPE group"), ("2DP", "Value; two decimal places"),
        ("XN", "Text or numeric"),
    ]  # fmt: skip
    project = (
        "MILLRACE",
        "Millrace Yard (invented example, no real ground)",
        "Town of Aldwater (invented)",
    )
    tables = {
        "PROJ": ags_group(
            [("PROJ_ID", "", "ID"), ("PROJ_NAME", *text), ("PROJ_LOC", *text)], [project]
        ),
        "TRAN": ags_group(
            [("TRAN_ISNO", *text), ("TRAN_DATE", "yyyy-mm-dd", "DT"), ("TRAN_PROD", *text),
             ("TRAN_STAT", *text), ("TRAN_DESC", *text), ("TRAN_AGS", *text),
             ("TRAN_RECV", *text), ("TRAN_DLIM", *text), ("TRAN_RCON", *text)],
            [("1", DATE, "make_data.py", "FINAL", "Invented logs", "4.1.1", "Anyone", "|", "+")],
        ),
        "ABBR": ags_group(
            [("ABBR_HDNG", *text), ("ABBR_CODE", *text), ("ABBR_DESC", *text)], codes
        ),
        "TYPE": ags_group([("TYPE_TYPE", *text), ("TYPE_DESC", *text)], kinds),
        "UNIT": ags_group([("UNIT_UNIT", *text), ("UNIT_DESC", *text)], units),
        "LOCA": ags_group(
            [("LOCA_ID", "", "ID"), ("LOCA_TYPE", "", "PA"), ("LOCA_NATE", *two),
             ("LOCA_NATN", *two), ("LOCA_GREF", "", "PA"), ("LOCA_GL", *two), ("LOCA_FDEP", *two)],
            [(name, "CP", f"{x:.2f}", f"{y:.2f}", "UTM33", f"{ground:.2f}", f"{log[-1][1]:.2f}")
             for name, (x, y, ground, log) in logs.items()],
        ),
        "GEOL": ags_group(
            [("LOCA_ID", "", "ID"), ("GEOL_TOP", *two), ("GEOL_BASE", *two),
             ("GEOL_DESC", *text), ("GEOL_GEOL", "", "PA")],
            [(name, f"{top:.2f}", f"{bottom:.2f}", SOILS[soil][1], SOILS[soil][0])
             for name, log in logs.items() for top, bottom, soil in log[3]],
        ),
        "WSTG": ags_group(
            [("LOCA_ID", "", "ID"), ("WSTG_DPTH", *two), ("WSTG_DTIM", "yyyy-mm-dd", "DT"),
             ("WSTG_REM", *text)],
            [(name, f"{depth:.2f}", DATE, f"Struck in {soil}")
             for name, kind, depth, soil in readings if kind == "strike"],
        ),
        "MONG": ags_group(
            [("LOCA_ID", "", "ID"), ("MONG_ID", *text), ("MONG_DIS", *two), ("MONG_TYPE", "", "PA"),
             ("MONG_DETL", *text), ("MONG_TRZ", *two), ("MONG_BRZ", *two)],
            [(name, f"P-{soil}", f"{spans[name][soil][1]:.2f}", "SPIE", f"Screened in {soil}",
              f"{spans[name][soil][0]:.2f}", f"{spans[name][soil][1]:.2f}")
             for name, soils in soil_of_pipe.items() for soil in soils],
        ),
        "MOND": ags_group(
            [("LOCA_ID", "", "ID"), ("MONG_ID", *text), ("MONG_DIS", *two),
             ("MOND_DTIM", "yyyy-mm-dd", "DT"), ("MOND_TYPE", "", "PA"), ("MOND_REF", *text),
             ("MOND_RDNG", "", "XN"), ("MOND_UNIT", "", "PU")],
            [(name, f"P-{soil}", f"{spans[name][soil][1]:.2f}", DATE, "WDEP", "1",
              f"{depth:.2f}", "m")
             for name, kind, depth, soil in readings if kind == "level"],
        ),
    }  # fmt: skip
    headings = {name: list(table.columns) for name, table in tables.items()}
    AGS4.dataframe_to_AGS4(tables, headings, str(FOLDER / "site.ags"), warnings=False)


def write_geojson(name: str, kind: str, points: ArrayLike, title: str) -> None:
    """One feature as RFC 7946 GeoJSON: WGS84 longitude and latitude, rings anticlockwise."""
    lonlat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lon, lat = lonlat.transform(*to_map(points).T)
    # Ten decimals are 0.01 mm: the wall must lie on the pit's edge after the way back.
    pairs = [[round(a, 10), round(b, 10)] for a, b in zip(lon, lat, strict=True)]
    shape: object = [[*pairs, pairs[0]]] if kind == "Polygon" else pairs
    feature = {
        "type": "Feature",
        "properties": {"name": title, "invented": True},
        "geometry": {"type": kind, "coordinates": shape},
    }
    text = json.dumps({"type": "FeatureCollection", "features": [feature]}, indent=1)
    (FOLDER / name).write_text(text + "\n", encoding="utf-8")


def write_features(name: str, kind: str, features: Sequence[tuple[ArrayLike, dict]]) -> None:
    """Several features as GeoJSON in the site's own crs, centimetres kept."""
    written = []
    for points, about in features:
        pairs = [[round(float(c), 2) for c in xy] for xy in to_map(points)]
        shape: object = [[*pairs, pairs[0]]] if kind == "Polygon" else pairs
        written.append(
            {
                "type": "Feature",
                "properties": {**about, "invented": True},
                "geometry": {"type": kind, "coordinates": pairs[0] if kind == "Point" else shape},
            }
        )
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    whole = {"type": "FeatureCollection", "crs": crs, "features": written}
    (FOLDER / name).write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")


def write_neighbours() -> None:
    """What stands around: houses, the mill, a main, a well, the river, a wet meadow, old works."""
    houses: list[tuple[ArrayLike, dict]] = []
    for number, (u, v) in enumerate(ROW, start=1):
        corners = [(u, v), (u + 10, v), (u + 10, v + 14), (u, v + 14)]
        about = {"name": f"Mill Row {number}", "foundation": "shallow", "height": 7.5}
        houses.append((corners, {**about, "material": "brick"}))
    mill = {"name": "old mill", "foundation": "timber piles", "height": 12.0, "material": "brick",
            "pile_head": 1.0}  # fmt: skip
    write_features("buildings.geojson", "Polygon", [*houses, (OLD_MILL, mill)])
    main = {"name": "water main", "material": "cast iron"}
    write_features("main.geojson", "LineString", [(MAIN, main)])
    well = {"name": "dairy well", "depth": 12.5, "pump_level": -5.0, "own_drawdown": 1.5}
    write_features("wells.geojson", "Point", [([YARD_WELL], well)])
    write_features("fen.geojson", "Polygon", [(FEN, {"name": "Alder fen"})])
    works = {"name": "old dye works", "bottom": -6.0}
    write_features("works.geojson", "Polygon", [(DYE_WORKS, works)])


def write_ground() -> None:
    """The ground surface as a raster of 10 m cells, 1 km to each side of the pit."""
    cell, half = 10.0, 1000.0
    x0, y0 = (10 * round(value / 10) for value in to_map([(28, 20)])[0])
    steps = np.arange(-half + cell / 2, half, cell)
    x, y = np.meshgrid(x0 + steps, y0 - steps)
    level = np.round(ground_level(*from_map(x, y)), 2).astype("float32")
    profile = {
        "driver": "GTiff", "dtype": "float32", "count": 1, "crs": CRS, "nodata": -9999.0,
        "width": level.shape[1], "height": level.shape[0], "compress": "deflate", "predictor": 3,
        "transform": from_origin(x0 - half, y0 + half, cell, cell),
    }  # fmt: skip
    with rasterio.open(FOLDER / "ground.tif", "w", **profile) as raster:
        raster.write(level, 1)


def main() -> None:
    """Write every data file of the example beside this script."""
    logs = drill()
    write_csv(logs)
    write_ags(logs)
    write_geojson("pit.geojson", "Polygon", PIT, "Millrace Yard basement")
    write_geojson("wall.geojson", "LineString", WALL, "sheet piles toward street and mill")
    write_geojson("river.geojson", "LineString", RIVER, "the Alder")
    write_neighbours()
    write_ground()


if __name__ == "__main__":
    main()
