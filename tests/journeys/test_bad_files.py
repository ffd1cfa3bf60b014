"""Files that a site names and that are missing, broken, elsewhere or in another system.

The readers have tests of their own; here each fault goes through the command line, beside files
that are right, and the message names the file, the row and the value.
"""

from __future__ import annotations

import json
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

GROUND = "ground = 4.0  "
CORNERS = (
    "corners = [[466000.0, 5918000.0], [466030.0, 5918000.0], [466030.0, 5918020.0], "
    "[466000.0, 5918020.0]]"
)
RING = "ring = { offset = -1.5, count = 6 }"
LEVEL = "level = 2.5      "
FILES = '["collars.csv", "layers.csv"]'
EAST, NORTH = 466000, 5918000
PIT = [[EAST + x, NORTH + y] for x, y in ((0, 0), (30, 0), (30, 20), (0, 20), (0, 0))]
UTM = "urn:ogc:def:crs:EPSG::32633"

Write = Callable[[Path], object]


def raster(level: float = 4.0, crs: str = "EPSG:32633", x: float = 465_700.0) -> Write:
    """A raster of 700 by 700 m with the pit in its middle where x is as given here."""

    def write(path: Path) -> None:
        import rasterio
        from rasterio import Affine

        with rasterio.open(
            path,
            "w",
            driver="GTiff",
            width=70,
            height=70,
            count=1,
            dtype="float32",
            crs=crs,
            nodata=-9999,
            transform=Affine(10, 0, x, 0, -10, 5_918_350),
        ) as file:
            file.write(np.full((70, 70), level, "float32"), 1)

    return write


def vector(kind: str, coordinates: object, crs: str | None = UTM, count: int = 1) -> Write:
    """A GeoJSON file with `count` times one geometry."""
    geometry = {"type": kind, "coordinates": coordinates}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    content: dict[str, object] = {"type": "FeatureCollection", "features": [feature] * count}
    if crs:
        content["crs"] = {"type": "name", "properties": {"name": crs}}
    return lambda path: path.write_text(json.dumps(content))


def swap(old: str, new: str) -> Write:
    def write(path: Path) -> None:
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))

    return write


def content(data: bytes | str) -> Write:
    raw = data.encode() if isinstance(data, str) else data
    return lambda path: path.write_bytes(raw)


def recode(encoding: str) -> Write:
    return lambda path: path.write_text(path.read_text(), encoding=encoding)


def ground(name: str = "ground.tif") -> tuple[str, str]:
    return GROUND, f'ground = "{name}"  '


def outline(name: str = "pit.geojson") -> tuple[str, str]:
    return CORNERS, f'outline = "{name}"'


def points(name: str) -> tuple[str, str]:
    return RING, f'points = "{name}"'


def logs(name: str) -> tuple[str, str]:
    return FILES, f'["{name}"]'


PIEZOMETERS = (LEVEL, 'piezometers = "standpipes.csv" #')
WALL = ('line = "outline"  ', 'line = "wall.geojson"')
BINARY = bytes(range(256))

# fmt: off
#: What is wrong → change of the site file, file and what is written to it, then of the message:
#: file, place, value, words.
Case = tuple[tuple[str, str] | None, str, Write | None, str, str, str, tuple[str, ...]]
CASES: dict[str, Case] = {
    # ---- raster of the ground ----
    "no raster": (
        ground(), "", None, "site.toml", "site.ground", "ground.tif", ("There is no such file",),
    ),
    "raster of no data": (
        ground(), "ground.tif", raster(-9999), "site.toml", "site.ground", "ground.tif",
        ("All its cells are without data",),
    ),
    "raster of NaN": (
        ground(), "ground.tif", raster(np.nan), "site.toml", "site.ground", "ground.tif",
        ("All its cells are without data",),
    ),
    "raster elsewhere": (
        ground(), "ground.tif", raster(x=565_700.0), "site.toml", "site.ground", "ground.tif",
        ("It lies 99.7 km away", "another coordinate system"),
    ),
    "raster in another system": (
        ground(), "ground.tif", raster(crs="EPSG:32632"), "site.toml", "site.ground",
        "ground.tif", ("a raster that covers the pit",),
    ),
    "raster in millimetres": (
        ground(), "ground.tif", raster(4e6), "site.toml", "site.ground", "ground.tif",
        ("from -500 to 9000 m", "row 1, column 1"),
    ),
    "raster a text": (
        ground(), "ground.tif", content("hello"), "site.toml", "site.ground", "ground.tif",
        ("It cannot be read",),
    ),
    "raster empty": (
        ground(), "ground.tif", content(b""), "site.toml", "site.ground", "ground.tif",
        ("It cannot be read",),
    ),
    # ---- vectors ----
    "no outline": (
        outline(), "", None, "site.toml", "excavation.outline", "pit.geojson",
        ("There is no such file",),
    ),
    "outline crosses itself": (
        outline(), "pit.geojson", vector("Polygon", [[PIT[i] for i in (0, 1, 3, 2, 0)]]),
        "site.toml", "excavation.outline", "pit.geojson", ("(466015.00, 5918010.00)",),
    ),
    "outline with a hole": (
        outline(), "pit.geojson",
        vector("Polygon", [PIT, [[466010, 5918010], [466012, 5918010], [466012, 5918012],
                                 [466010, 5918010]]]),
        "site.toml", "excavation.outline", "pit.geojson", ("without holes",),
    ),
    "outline twice": (
        outline(), "pit.geojson", vector("Polygon", [PIT], count=2), "site.toml",
        "excavation.outline", "pit.geojson", ("It holds 2 polygons",),
    ),
    "outline an open line": (
        outline(), "pit.geojson", vector("LineString", PIT[:3]), "site.toml",
        "excavation.outline", "pit.geojson", ("It holds a LineString",),
    ),
    "outline without features": (
        outline(), "pit.geojson", vector("Polygon", [PIT], count=0), "site.toml",
        "excavation.outline", "pit.geojson", ("The layer is empty",),
    ),
    "outline with x and y exchanged": (
        outline(), "pit.geojson", vector("Polygon", [[[y, x] for x, y in PIT]]), "site.toml",
        "excavation.outline", "pit.geojson", ("exchange x and y",),
    ),
    "outline cut short": (
        outline(), "pit.geojson", content('{"type": "Feat'), "site.toml", "excavation.outline",
        "pit.geojson", ("It cannot be read",),
    ),
    "outline binary": (
        outline("pit.shp"), "pit.shp", content(BINARY), "site.toml", "excavation.outline",
        "pit.shp", ("It cannot be read",),
    ),
    "outline a table": (
        outline("collars.csv"), "", None, "site.toml", "excavation.outline", "collars.csv",
        ("Export it",),
    ),
    "layer nobody has": (
        outline("pit.geojson#dig"), "pit.geojson", vector("Polygon", [PIT]), "site.toml",
        "excavation.outline", "pit.geojson#dig", ("a layer of that file",),
    ),
    "wall a point": (
        WALL, "wall.geojson", vector("Point", PIT[0]), "site.toml", "walls.0.line",
        "wall.geojson", ("It holds a Point",),
    ),
    "wall in two pieces": (
        WALL, "wall.geojson", vector("MultiLineString", [PIT[:2], PIT[2:4]]), "site.toml",
        "walls.0.line", "wall.geojson", ("do not join into one",),
    ),
    "wells a line": (
        points("wells.geojson"), "wells.geojson", vector("LineString", PIT[:2]), "site.toml",
        "schemes.0.drainage.0.points", "wells.geojson", ("It holds a LineString",),
    ),
    "wells a word in it": (
        points("wells.csv"), "wells.csv", content("x,y\n466005,a\n"), "wells.csv", "column y",
        "a", ("a plain number",),
    ),
    "wells none": (
        points("wells.csv"), "wells.csv", content("x,y\n"), "wells.csv", "table", "(empty)",
        ("at least one row",),
    ),
    # ---- boring logs ----
    "no layers file": (
        (FILES, '["collars.csv", "layer.csv"]'), "", None, "layer.csv", "[borings] files",
        "layer.csv", ("a file that exists", "relative to the site file"),
    ),
    "logs a folder": (
        (FILES, '["collars.csv", "."]'), "", None, ".", "[borings] files", ".",
        ("It is a folder",),
    ),
    "logs without layers": (
        logs("collars.csv"), "", None, "collars.csv", "[borings] files", "",
        ("a file with layers",),
    ),
    "soil unknown": (
        None, "layers.csv", swap("B1,1.2,13.0,sand", "B1,1.2,13.0,snad"), "layers.csv",
        "row 3, column soil", "snad", ("Did you mean 'sand'?", "[borings.codes]"),
    ),
    "layers with a gap": (
        None, "layers.csv", swap("B1,1.2,", "B1,1.5,"), "layers.csv", "row 3, column top_depth",
        "1.5", ("a gap of 0.30 m",),
    ),
    "layers that overlap": (
        None, "layers.csv", swap("B1,1.2,", "B1,1.0,"), "layers.csv", "row 3, column top_depth",
        "1.0", ("an overlap of 0.20 m",),
    ),
    "layer upside down": (
        None, "layers.csv", swap("B1,1.2,13.0", "B1,13.0,1.2"), "layers.csv",
        "row 3, column bottom_depth", "1.2", ("upside-down",),
    ),
    "collar without layers": (
        None, "collars.csv", swap("B5,", "B6,466020,5918000,4.0,18\nB5,"), "collars.csv",
        "row 6, column id", "B6", ("layers for each boring",),
    ),
    "boring elsewhere": (
        None, "collars.csv", swap("466015.0,", "566015.0,"), "collars.csv", "row 6, column x",
        "566015.0, 5918010.0", ("99.7 km away",),
    ),
    "collar exchanged": (
        None, "collars.csv", swap("466015.0,5918010.0", "5918010.0,466015.0"), "collars.csv",
        "row 6, column x", "5918010.0, 466015.0", ("x and y swapped?",),
    ),
    "boring shorter than its layers": (
        None, "collars.csv", swap("4.0,17.5", "4.0,12"), "layers.csv",
        "row 4, column bottom_depth", "17.5", ("depth 12.00 m",),
    ),
    "two datums": (
        None, "collars.csv",
        content("id,x,y,ground,final_depth,datum\nB1,465990,5917990,4,17.5,NN\n"
                "B2,466040,5917992,4,16,NN\nB3,466036,5918030,4,17,NN\n"
                "B4,465994,5918028,4,16.5,NN\nB5,466015,5918010,4,18,MSL\n"),
        "collars.csv", "row 6, column datum", "MSL", ("mixed datums",),
    ),
    "depth not a number": (
        None, "layers.csv", swap("B1,0.0,1.2", "B1,0.0,nan"), "layers.csv",
        "row 2, column bottom_depth", "nan", ("a finite number",),
    ),
    "depth with a unit": (
        None, "layers.csv", swap("B1,0.0,1.2,", "B1,0.0,1.2 m,"), "layers.csv",
        "row 2, column bottom_depth", "1.2 m", ("bottom_depth [ft]",),
    ),
    "layers in UTF-16": (
        None, "layers.csv", recode("utf-16"), "layers.csv", "encoding", "", ("Save it as UTF-8",),
    ),
    "layers binary": (
        None, "layers.csv", content(BINARY), "layers.csv", "encoding", "", ("UTF-8",),
    ),
    "layers empty": (
        None, "layers.csv", content(b""), "layers.csv", "whole file", "", ("The file is empty",),
    ),
    "layers a heading alone": (
        None, "layers.csv", content("id,top_depth,bottom_depth,soil\n"), "layers.csv", "rows", "",
        ("The file has none",),
    ),
    "AGS4 that is none": (
        logs("site.ags"), "site.ags", content("hello\n"), "site.ags", "whole file", "",
        ('"GROUP" rows',),
    ),
    "AGS4 binary": (
        logs("site.ags"), "site.ags", content(BINARY), "site.ags", "encoding", "", ("UTF-8",),
    ),
    # ---- standpipes ----
    "no standpipes": (
        PIEZOMETERS, "", None, "site.toml", "water.piezometers", "standpipes.csv",
        ("There is no such file",),
    ),
    "standpipe in a soil nobody has": (
        PIEZOMETERS, "standpipes.csv",
        content("id,x,y,level,soil\nP1,466000,5918000,2.5,snad\n"), "standpipes.csv",
        "column soil", "snad", ("Did you mean 'sand'?",),
    ),
    "standpipe without a level": (
        PIEZOMETERS, "standpipes.csv", content("id,x,y,level\nP1,466000,5918000,high\n"),
        "standpipes.csv", "column level", "high", ("a length",),
    ),
    "standpipe elsewhere": (
        PIEZOMETERS, "standpipes.csv", content("id,x,y,level\nP1,566000,5918000,2.5\n"),
        "site.toml", "water.piezometers", "", ("within 20 km of the pit",),
    ),
}
# fmt: on


@pytest.mark.parametrize("name", CASES)
def test_refused(name: str, site: Any, wellring: Any, refused: Any) -> None:
    change, written, write, file, place, value, words = CASES[name]
    if change:
        site.change(change)
    if write:
        write(site.path / written)
    (told,) = refused(wellring("check", site.file))
    assert (told.file, told.place, told.value) == (file, place, value)
    for word in words:
        assert word in told.said


def test_faults_of_all_files_are_told_together(site: Any, wellring: Any, refused: Any) -> None:
    site.change(ground("hill.tif"), WALL)
    swap("B1,1.2,13.0,sand", "B1,1.5,13.0,snad")(site.path / "layers.csv")
    found = refused(wellring("check", site.file))
    assert [(told.file, told.place) for told in found] == [
        ("site.toml", "site.ground"),
        ("layers.csv", "row 3, column soil"),
        ("layers.csv", "row 3, column top_depth"),
        ("site.toml", "walls.0.line"),
    ]


@pytest.mark.parametrize(
    "write",
    [
        lambda path: path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes()),
        lambda path: path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n")),
    ],
    ids=["byte order mark", "CRLF"],
)
def test_harmless_ways_to_write_text(write: Write, site: Any) -> None:
    from wellring.inputs.read_site import read_site

    before = read_site(site.file)
    for name in ("site.toml", "collars.csv", "layers.csv"):
        write(site.path / name)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        after = read_site(site.file)
    assert after.description == before.description
    assert after.logs.borings == before.logs.borings


#: What a site file can be that is no text of a site → its bytes, line, words of the message.
NO_SITE: dict[str, tuple[bytes, int | None, tuple[str, ...]]] = {
    "binary": (BINARY, 2, ("text in UTF-8", "A byte 80")),
    "Latin-1": ("[site]\nname = 'Mühle'\n".encode("latin-1"), 2, ("UTF-8", "A byte fc")),
    "UTF-16": ("[site]\n".encode("utf-16"), 1, ("UTF-8", "A byte ff")),
    "decimal comma": (b"[site]\nground = 4,0\n", 2, ("a decimal point", "line 2, column")),
    "text without quotes": (b"[site]\nname = Start here\n", 2, ("Text goes in quotes",)),
    "key twice": (b"[site]\nname = 'a'\nname = 'b'\n", 3, ("keys stand once",)),
    "unfinished": (b"[site]\nname = 'a'\nfiles = [", 3, ("TOML",)),
    "a zero byte": (b"[site]\nname = 'a\x00'\n", 2, ("TOML",)),
    "nested endlessly": (b"a = " + b"[" * 5000 + b"]" * 5000, None, ("nested less deeply",)),
    "huge": (b"#" * 5_000_001, None, ("under 5 MB",)),
}


@pytest.mark.parametrize("name", NO_SITE)
def test_no_site_file(name: str, tmp_path: Path, wellring: Any, refused: Any) -> None:
    data, line, words = NO_SITE[name]
    (tmp_path / "bad.toml").write_bytes(data)
    (told,) = refused(wellring("check", tmp_path / "bad.toml"))
    assert (told.file, told.line) == ("bad.toml", line)
    for word in words:
        assert word in told.said


def test_empty_site_file_lacks_every_table(tmp_path: Path, wellring: Any, refused: Any) -> None:
    (tmp_path / "bad.toml").write_bytes(b"")
    found = refused(wellring("check", tmp_path / "bad.toml"))
    assert [told.place for told in found] == ["site", "borings", "soils", "water", "excavation"]
    assert all(f"Add a table [{told.place}]" in told.said for told in found)


def test_lines_below_a_list_of_several_lines(site: Any, wellring: Any, refused: Any) -> None:
    site.change(
        (CORNERS, CORNERS.replace("], [", "],\n  [").replace("]]", "]\n]")),
        ("clearance = 0.5", "clearance = -1"),
    )
    (told,) = refused(wellring("check", site.file))
    assert told.place == "excavation.clearance"
    assert "clearance" in site.file.read_text().split("\n")[told.line - 1]
