"""Files whose names say data and whose contents say something else are never opened as such."""

from __future__ import annotations

import json
import socket
import threading
from pathlib import Path

import pytest

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.signatures import is_plain_vector
from wellring.inputs.geodata.crs import SiteCrs, read_crs
from wellring.inputs.geodata.raster_files import read_levels
from wellring.inputs.geodata.vector_files import read_features

POINT = {"type": "Point", "coordinates": [466000.0, 5918000.0]}


@pytest.fixture(scope="module")
def crs() -> SiteCrs:
    found = read_crs("EPSG:32633", FaultLog(), "site.toml")
    assert found is not None
    return SiteCrs.of(found, "EPSG:32633")


@pytest.fixture
def listener() -> tuple[int, list[object]]:
    """A port of this machine, and who came."""
    came: list[object] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        stop = threading.Event()

        def listen() -> None:
            while not stop.is_set():
                try:
                    connection, who = server.accept()
                except TimeoutError:
                    continue
                came.append(who)
                connection.close()

        thread = threading.Thread(target=listen)
        thread.start()
        yield server.getsockname()[1], came
        stop.set()
        thread.join()


def hostile_vectors(secret: Path, port: int) -> dict[str, str]:
    other = json.dumps({"type": "gdal_streamed_alg", "command_line": f"gdal vector read {secret}"})
    server = f"http://127.0.0.1:{port}/"
    return {
        "virtual.geojson": f'<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>{secret}'
        "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "commands.json": other,
        "server.geojson": f"<OGRWFSDataSource><URL>{server}</URL></OGRWFSDataSource>",
        "server.gpkg": f"<OGRWFSDataSource><URL>{server}</URL></OGRWFSDataSource>",
        "server.fgb": f"<OGRWFSDataSource><URL>{server}</URL></OGRWFSDataSource>",
        "server.shp": f"<OGRWFSDataSource><URL>{server}</URL></OGRWFSDataSource>",
    }


def test_no_other_file_is_read_and_no_server_is_asked(
    tmp_path: Path, crs: SiteCrs, listener: tuple[int, list[object]]
) -> None:
    port, came = listener
    secret = tmp_path / "secret.geojson"
    secret.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": POINT}))
    files = hostile_vectors(secret, port)
    assert read_features(secret.name, tmp_path, crs, FaultLog(), "site.toml", "place") is not None
    for name, text in files.items():
        (tmp_path / name).write_text(text)
        faults = FaultLog()
        assert read_features(name, tmp_path, crs, faults, "site.toml", "place") is None
        assert len(faults.faults) == 1
        assert "something else than its name says" in str(faults.faults[0])
    assert came == []


@pytest.mark.parametrize(
    "text",
    [
        '<VRTDataset rasterXSize="70" rasterYSize="70"><GeoTransform>465700,10,0,5918350,0,-10'
        '</GeoTransform><SRS>EPSG:32633</SRS><VRTRasterBand dataType="Float32" band="1">'
        "<SimpleSource><SourceFilename>secret.tif</SourceFilename><SourceBand>1</SourceBand>"
        "</SimpleSource></VRTRasterBand></VRTDataset>",
        '<GDAL_WMS><Service name="TMS"><ServerUrl>http://127.0.0.1:{port}/${{z}}/${{x}}/${{y}}'
        "</ServerUrl></Service><DataWindow><UpperLeftX>465700</UpperLeftX><UpperLeftY>5918350"
        "</UpperLeftY><LowerRightX>466400</LowerRightX><LowerRightY>5917650</LowerRightY>"
        "<SizeX>70</SizeX><SizeY>70</SizeY></DataWindow><Projection>EPSG:32633</Projection>"
        "<BandsCount>1</BandsCount></GDAL_WMS>",
    ],
    ids=["virtual", "server"],
)
@pytest.mark.parametrize("name", ["ground.tif", "ground.asc"])
def test_a_raster_is_a_raster(
    text: str, name: str, tmp_path: Path, crs: SiteCrs, listener: tuple[int, list[object]]
) -> None:
    import numpy as np
    import rasterio
    from rasterio import Affine

    port, came = listener
    placing = Affine(10, 0, 465700, 0, -10, 5918350)
    shape = {"width": 70, "height": 70, "count": 1, "dtype": "float32"}
    with rasterio.open(
        tmp_path / "secret.tif", "w", "GTiff", crs="EPSG:32633", transform=placing, **shape
    ) as file:
        file.write(np.full((70, 70), 4.0, "float32"), 1)
    (tmp_path / name).write_text(text.replace("{port}", str(port)).replace("{{", "{"))
    faults = FaultLog()
    assert read_levels(name, tmp_path, crs, faults, "site.toml", "site.ground") is None
    assert "It cannot be read" in str(faults.faults[0])
    assert came == []
    assert read_levels("secret.tif", tmp_path, crs, FaultLog(), "site.toml", "x") is not None


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ('{"type": "FeatureCollection", "features": []}', True),
        ('\ufeff \n{ "type" : "Polygon", "coordinates": []}', True),
        ('{"features": [' + ", ".join(["0"] * 40_000) + '], "type": "FeatureCollection"}', True),
        ('{"features": [' + ", ".join(["0"] * 40_000) + '], "type": "Topology"}', False),
        ('{"a": "' + "x" * 70_000 + '", "type": ["FeatureCollection"]}', False),
        ('{"a":' * 40_000, False),
        ("[1, 2]", False),
        ("", False),
    ],
    ids=["usual", "mark and blanks", "type last", "other", "type a list", "deep", "list", "empty"],
)
def test_geojson_by_its_content(text: str, plain: bool, tmp_path: Path) -> None:
    path = tmp_path / "a.GeoJSON"
    path.write_text(text, encoding="utf-8")
    assert is_plain_vector(path) is plain


@pytest.mark.parametrize(
    ("statement", "stored"),
    [
        ("", True),
        ("CREATE VIEW v AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
         "SELECT i AS fid, geom FROM n, points WHERE points.fid = 1", False),
        ("CREATE VIEW v AS SELECT fid, geom FROM points", False),
        ("CREATE  virtual\nTABLE v USING rtree(id, a, b)", False),
    ],
    ids=["table", "endless view", "view", "virtual table"],
)  # fmt: skip
def test_a_layer_of_a_geopackage_stands_in_it(
    statement: str, stored: bool, tmp_path: Path, crs: SiteCrs
) -> None:
    import sqlite3
    from contextlib import closing

    import geopandas
    import shapely

    path = tmp_path / "a.gpkg"
    points = geopandas.GeoDataFrame(geometry=[shapely.Point(466000, 5918000)], crs="EPSG:32633")
    points.to_file(path, layer="points", engine="pyogrio")
    if statement:
        with closing(sqlite3.connect(path)) as base:
            base.execute(statement)
            for table in ("gpkg_contents", "gpkg_geometry_columns"):
                base.execute(f"CREATE TEMP TABLE t AS SELECT * FROM {table}")
                base.execute("UPDATE t SET table_name = 'v'")
                for column in ("identifier",) if table == "gpkg_contents" else ():
                    base.execute(f"UPDATE t SET {column} = 'v'")
                base.execute(f"INSERT INTO {table} SELECT * FROM t")
                base.execute("DROP TABLE t")
            base.commit()
    faults = FaultLog()
    name = f"a.gpkg#{'v' if statement else 'points'}"
    found = read_features(name, tmp_path, crs, faults, "site.toml", "place")
    assert (found is not None) is stored
    if not stored:
        assert len(faults.faults) == 1, faults
    if "VIEW" in statement:
        assert "is a view" in str(faults.faults[0])
