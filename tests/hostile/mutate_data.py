"""Ways to spoil rasters, GeoPackages and the files themselves."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import warnings
from contextlib import closing
from pathlib import Path

import numpy as np


def spoil_raster(path: Path, chance: random.Random) -> None:
    """Write ground.tif with other levels, placing, type, size or system."""
    import rasterio
    from rasterio import Affine

    levels = 4.0 + 0.001 * np.arange(900.0).reshape(30, 30)
    dtype = chance.choice(("float32", "float64", "int16", "uint8", "complex64", "int32"))
    kind = chance.randrange(8)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if kind == 0:
            levels[:] = chance.choice((np.nan, np.inf, -np.inf, 1e300, -1e300, 1e30, -9999, 0, 1e9))
        elif kind == 1:
            worst = chance.choice((np.nan, np.inf, 1e300, -1e30, 9000, -500))
            levels[chance.randrange(30), chance.randrange(30)] = worst
        elif kind == 2:
            levels *= chance.choice((3.28084, 1000.0, 1e-3, -1.0))
        elif kind == 3:
            levels = levels[: chance.choice((1, 2)), : chance.choice((1, 2))]
        a, e = 25.0, -25.0
        if chance.random() < 0.4:
            a = chance.choice((0.0, 1e-9, 1e9, -25.0, np.nan, np.inf, 82.02))
            e = chance.choice((0.0, 25.0, -1e-9, -25.0, np.nan))
        x, y = chance.choice(
            ((465625.0, 5918375.0),) * 3
            + ((5918375.0, 465625.0), (0.0, 0.0), (1e300, 1e300), (1527640.0, 19417240.0))
        )
        crs = chance.choice(
            ("EPSG:32633",) * 3
            + (
                "EPSG:4326",
                "EPSG:2263",
                "EPSG:3857",
                None,
                "EPSG:32633+5703",
                "EPSG:5703",
                "EPSG:27700",
            )
        )
        count = chance.choice((1, 1, 1, 4))
        table = np.broadcast_to(levels.astype(dtype), (count, *levels.shape))
        shape = {"width": levels.shape[1], "height": levels.shape[0], "count": count}
        nodata = chance.choice((None, -9999, 4.0, np.nan)) if dtype.startswith("f") else None
        with rasterio.open(
            path, "w", "GTiff", dtype=dtype, crs=crs, nodata=nodata,
            transform=Affine(a, 0, x, 0, e, y), **shape,
        ) as file:  # fmt: skip
            file.write(table)
            if chance.random() < 0.3:
                file.scales = (chance.choice((0.0, 1e300, 0.3048, np.nan)),) * count
                file.offsets = (chance.choice((0.0, 1e300, np.inf)),) * count
                file.units = (chance.choice(("ft", "furlong", "m", "", "K")),) * count


STATEMENTS = (
    "UPDATE houses SET geom = NULL",
    "UPDATE houses SET geom = x'47500001'",
    "UPDATE houses SET geom = randomblob(200)",
    "UPDATE houses SET geom = 'POLYGON EMPTY'",
    "UPDATE houses SET HEIGHT = 1e300",
    "UPDATE houses SET HEIGHT = 'tall', pile_head = '9 ft'",
    "UPDATE houses SET pile_head = -1e308",
    "UPDATE houses SET foundation = randomblob(500)",
    "UPDATE houses SET foundation = hex(zeroblob(2000000))",
    "UPDATE houses SET name = NULL",
    "UPDATE houses SET name = char(0) || '../../x' || char(27) || '[31m'",
    "UPDATE gpkg_geometry_columns SET srs_id = 4326",
    "UPDATE gpkg_geometry_columns SET srs_id = 123456",
    "UPDATE gpkg_geometry_columns SET geometry_type_name = 'POINT'",
    "UPDATE gpkg_contents SET table_name = 'gone'",
    "UPDATE gpkg_contents SET data_type = 'attributes'",
    "DELETE FROM gpkg_contents",
    "DELETE FROM gpkg_spatial_ref_sys",
    "DROP TABLE gpkg_geometry_columns",
    "DELETE FROM houses",
    "ALTER TABLE houses RENAME COLUMN HEIGHT TO 'a\"b'",
    "ALTER TABLE houses ADD COLUMN fid2 BLOB DEFAULT x'00'",
    "CREATE TABLE more AS SELECT * FROM houses",
    "INSERT INTO houses (geom, name) SELECT geom, name FROM houses",
    "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 5000) "
    "INSERT INTO houses (geom, name, HEIGHT) SELECT h.geom, i, 30 FROM n, houses h WHERE h.fid = 1",
    "PRAGMA application_id = 0",
    "PRAGMA user_version = -1",
)
ENDLESS = (
    "ALTER TABLE houses RENAME TO real_houses",
    "CREATE VIEW houses AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
    "SELECT n.i AS fid, r.geom, r.name, r.foundation, r.HEIGHT, r.pile_head "
    "FROM n, real_houses r WHERE r.fid = 1",
)


def spoil_geopackage(path: Path, chance: random.Random) -> None:
    """Change what houses.gpkg holds by the rules of its database, if not by those of its format."""
    statements = ENDLESS if chance.random() < 0.08 else (chance.choice(STATEMENTS),)
    with closing(sqlite3.connect(path)) as base:
        for name in [
            row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        ]:
            base.execute(f'DROP TRIGGER "{name}"')
        for statement in statements:
            base.execute(statement)
        base.commit()


def spoil_file(path: Path, chance: random.Random) -> None:
    """Put something else in a file's place."""
    path.unlink()
    kind = chance.randrange(8)
    if kind == 0:
        path.symlink_to(path.name)  # to itself
    elif kind == 1:
        path.symlink_to(chance.choice(("/dev/zero", "/dev/null", "/etc/passwd", "/proc/self/mem")))
    elif kind == 2:
        path.symlink_to("nowhere")
    elif kind == 3:
        path.mkdir()
    elif kind == 4:
        os.mkfifo(path)
    elif kind == 5:
        path.symlink_to("..")
    elif kind == 6:
        path.touch()
    else:
        others = [item for item in sorted(path.parent.iterdir()) if item.is_file()]
        shutil.copyfile(chance.choice(others), path)
