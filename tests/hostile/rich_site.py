"""A small invented site that names a file of every kind, as the thing to be mutated."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

EAST, NORTH = 466000.0, 5918000.0
CRS = "EPSG:32633"
PIT = [(0, 0), (30, 0), (30, 20), (0, 20), (0, 0)]

SITE = """\
[site]
name = "Rich in files"
crs = "EPSG:32633"
ground = "ground.tif"
show = "metric"
invented = true

[borings]
files = ["collars.csv", "layers.csv", "water.csv"]
surfaces = "kriging"
base = -14.0

[soils.fill]
kh = "1e-5 m/s"
kv = "5e-6 m/s"
sy = 0.15
ss = 1e-4
weight = "18 kN/m3"
compression = { e_oed = "8 MPa" }

[soils.sand]
d10 = "0.15 mm"
kv = "6e-5 m/s"
sy = 0.22
ss = 2e-5
weight = "20 kN/m3"

[soils.clay]
kh = "2e-9 m/s"
kv = "1e-9 m/s"
sy = 0.03
ss = "auto"
weight = "110 pcf"
compression = { cc = 0.35, e0 = 1.1, ocr = 1.2, cv = "2 m2/year" }

[water]
piezometers = "piezometers.csv"
source_distance = "1000 ft"

[[water.boundary]]
kind = "river"
line = "river.geojson"
stage = "stage.csv"
width = "12 m"
bed_conductance = "1e-6 1/s"

[[water.boundary]]
kind = "recharge"
rate = "150 mm/year"

[excavation]
outline = "pit.geojson"
clearance = 0.5

[[excavation.stages]]
name = "first dig"
day = 0
formation = 1.0

[[excavation.stages]]
name = "final dig"
day = 21
formation = -1.5
lasts = 90

[[walls]]
kind = "sheet pile"
line = "wall.geojson"
toe = -6.0
joint_resistance = "3e-7 m/s"
pile_width = 0.6

[[neighbours]]
file = "houses.gpkg"
kind = "building"
attributes = { height = "HEIGHT [ft]" }
words = { timber = "wood piles" }
limit = { settlement = "20 mm", slope = "1/500" }

[[schemes]]
name = "wells"

[[schemes.drainage]]
method = "deep wells"
points = "wells.csv"
screen = [-8.5, -1.0]
diameter = "300 mm"
hold = -4.0
pump = { capacity = "20 m3/h", head = "15 m", efficiency = 0.55 }

[operations]
wage = 35.0
power_price = 0.3

[time]
pumping_starts = -14

[grid]
cell = 5.0
sublayer = 4.0
growth = 1.8
"""

AGS = """\
"GROUP","PROJ"
"HEADING","PROJ_ID","PROJ_NAME"
"UNIT","",""
"TYPE","ID","X"
"DATA","P1","Invented"

"GROUP","TRAN"
"HEADING","TRAN_AGS","TRAN_DATE"
"UNIT","","yyyy-mm-dd"
"TYPE","X","DT"
"DATA","4.1.1","2024-05-14"

"GROUP","LOCA"
"HEADING","LOCA_ID","LOCA_NATE","LOCA_NATN","LOCA_GL","LOCA_FDEP"
"UNIT","","m","m","m","m"
"TYPE","ID","2DP","2DP","2DP","2DP"
{loca}

"GROUP","GEOL"
"HEADING","LOCA_ID","GEOL_TOP","GEOL_BASE","GEOL_DESC","GEOL_GEOL"
"UNIT","","m","m","",""
"TYPE","ID","2DP","2DP","X","PA"
{geol}

"GROUP","WSTG"
"HEADING","LOCA_ID","WSTG_DPTH","WSTG_DTIM"
"UNIT","","m","yyyy-mm-dd"
"TYPE","ID","2DP","DT"
"DATA","B1","1.50","2024-05-14"
"""


def write_rich_site(folder: Path) -> None:
    """Write site.toml (CSV logs), ags.toml (the same with AGS4 logs) and all that they name."""
    places = [(0, 0), (30, 0), (30, 20), (0, 20), (120, 40), (-90, 60), (40, -80), (15, 10)]
    lines = {"collars": ["id,x,y,ground,final_depth"], "layers": ["id,top_depth,bottom_depth,soil"]}
    loca, geol = [], []
    for number, (x, y) in enumerate(places, start=1):
        name, ground, dip = f"B{number}", 4.0 + 0.01 * number, 0.1 * number
        lines["collars"].append(f"{name},{EAST + x},{NORTH + y},{ground:.2f},18")
        loca.append(f'"DATA","{name}","{EAST + x:.2f}","{NORTH + y:.2f}","{ground:.2f}","18.00"')
        for top, bottom, soil in (
            (0.0, 1.5, "fill"),
            (1.5, 9.0 + dip, "sand"),
            (9.0 + dip, 18.0, "clay"),
        ):
            lines["layers"].append(f"{name},{top:.2f},{bottom:.2f},{soil}")
            geol.append(f'"DATA","{name}","{top:.2f}","{bottom:.2f}","Brown {soil}","{soil}"')
    lines["water"] = ["id,date,level", "B1,2024-05-14,2.50", "B2,2024-05-15,2.40"]
    lines["piezometers"] = ["id,x,y,level,soil,date"]
    for number, (x, y) in enumerate([(0, 0), (150, 0), (0, 150), (-120, -60)], start=1):
        lines["piezometers"].append(f"P{number},{EAST + x},{NORTH + y},2.{number},sand,2024-05-14")
    lines["stage"] = ["day,stage", "-100,2.2", "0,2.3 m", "30,7.4 ft", "200,2.1"]
    lines["wells"] = ["x,y", *(f"{EAST + x},{NORTH + y}" for x, y in [(3, 3), (27, 3), (15, 17)])]
    for name, rows in lines.items():
        (folder / f"{name}.csv").write_text("\n".join(rows) + "\n")
    (folder / "site.ags").write_text(AGS.format(loca="\n".join(loca), geol="\n".join(geol)))
    logs = 'files = ["collars.csv", "layers.csv", "water.csv"]'
    (folder / "site.toml").write_text(SITE)
    (folder / "ags.toml").write_text(SITE.replace(logs, 'files = ["site.ags"]'))
    _geojson(folder / "pit.geojson", "Polygon", [_moved(PIT)])
    _geojson(folder / "wall.geojson", "LineString", _moved([(0, 20), (0, 0), (30, 0)]))
    _geojson(folder / "river.geojson", "LineString", _moved([(-400, -150), (0, -140), (400, -160)]))
    _raster(folder / "ground.tif")
    _houses(folder / "houses.gpkg")


def _moved(places: list[tuple[float, float]]) -> list[list[float]]:
    return [[EAST + x, NORTH + y] for x, y in places]


def _geojson(path: Path, kind: str, coordinates: Any) -> None:
    feature = {
        "type": "Feature",
        "properties": {"name": path.stem},
        "geometry": {"type": kind, "coordinates": coordinates},
    }
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    content = {"type": "FeatureCollection", "crs": crs, "features": [feature]}
    path.write_text(json.dumps(content, indent=1))


def _raster(path: Path) -> None:
    import numpy as np
    import rasterio
    from rasterio import Affine

    levels = 4.0 + 0.001 * np.arange(900.0, dtype="float32").reshape(30, 30)
    placing = Affine(25, 0, EAST - 375, 0, -25, NORTH + 375)
    shape = {"width": 30, "height": 30, "count": 1, "dtype": "float32", "nodata": -9999}
    with rasterio.open(path, "w", "GTiff", crs=CRS, transform=placing, **shape) as file:
        file.write(levels, 1)


def _houses(path: Path) -> None:
    import geopandas
    import shapely

    squares = [shapely.box(EAST + x, NORTH + 40, EAST + x + 10, NORTH + 52) for x in (-20, 0, 25)]
    table = {
        "name": ["one", "two", "three"],
        "foundation": ["shallow", "timber", "raft"],
        "HEIGHT": [30.0, 25.0, 33.0],
        "pile_head": [None, 1.5, None],
    }
    geopandas.GeoDataFrame(table, geometry=squares, crs=CRS).to_file(
        path, layer="houses", engine="pyogrio"
    )
