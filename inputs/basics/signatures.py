"""What a vector file is by its first bytes, whatever its name says.

GDAL opens a file by what stands in it, not by its suffix. A text called ``pit.geojson`` may then
be a virtual layer that reads other files, a list of commands, or the address of a server that is
asked over the network. Site files come from others: only plain data are let through.
"""

from __future__ import annotations

import json
import re
from contextlib import closing
from pathlib import Path

_HEAD = 65_536
_GEOJSON = re.compile(
    rb'"type"\s*:\s*"(?:FeatureCollection|Feature|GeometryCollection|'
    rb'(?:Multi)?(?:Point|LineString|Polygon))"'
)
_VIRTUAL = re.compile(r"\s*create\s+virtual", re.IGNORECASE)
_COMMANDS = b"gdal_streamed_alg"


def is_plain_vector(path: Path) -> bool:
    """Whether a file holds what its suffix says: GeoJSON, GeoPackage, Shapefile or FlatGeobuf.

    Raises
    ------
    OSError : it cannot be read.
    """
    with open(path, "rb") as file:
        head = file.read(_HEAD)
    match path.suffix.lower():
        case ".geojson" | ".json":
            return _is_geojson(path, head)
        case ".gpkg":
            return head.startswith(b"SQLite format 3\x00")
        case ".shp":
            return head.startswith((9994).to_bytes(4, "big"))
        case ".fgb":
            return head.startswith(b"fgb")
    return False


def is_stored_layer(path: Path, layer: str) -> bool:
    """Whether a GeoPackage keeps a layer's rows, rather than computing them when asked.

    A view is a program: one that counts without end keeps every reader waiting, and a virtual
    table may read other files.

    Raises
    ------
    OSError : it is no database that can be read.
    """
    import sqlite3

    try:
        with closing(
            sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        ) as base:
            found = base.execute(
                "SELECT type, sql FROM sqlite_master WHERE lower(name) = lower(?)", (layer,)
            ).fetchall()
    except sqlite3.Error as error:
        raise OSError(str(error)) from None
    tables = [str(sql) for kind, sql in found if kind == "table"]
    return len(tables) == 1 and not _VIRTUAL.match(tables[0])


def _is_geojson(path: Path, head: bytes) -> bool:
    head = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not head.startswith(b"{") or _COMMANDS in head:
        return False
    if _GEOJSON.search(head):
        return True
    # Members stand in any order: "type" may come after all features.
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError):
        return False
    return isinstance(content, dict) and bool(
        _GEOJSON.search(json.dumps({"type": content.get("type")}).encode())
    )
