"""Layers of neighbours: attributes, units, defaults; and every fault a layer can have."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyproj
import pytest
import shapely

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.geodata.crs import SiteCrs
from wellring.inputs.geodata.receptors import Receptors
from wellring.inputs.read_site import Site, read_site

EAST, NORTH = 466000.0, 5918000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}


def box(x: float, y: float, wide: float = 8.0) -> dict[str, Any]:
    corners = [(x, y), (x + wide, y), (x + wide, y + wide), (x, y + wide), (x, y)]
    ring = [[EAST + a, NORTH + b] for a, b in corners]
    return {"type": "Polygon", "coordinates": [ring]}


def point(x: float, y: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [EAST + x, NORTH + y]}


def layer(path: Path, *features: tuple[dict[str, Any], dict[str, Any]], crs: Any = CRS) -> None:
    """Write a GeoJSON layer of (geometry, properties)."""
    rows = [{"type": "Feature", "geometry": g, "properties": p} for g, p in features]
    whole = {"type": "FeatureCollection", "features": rows} | ({"crs": crs} if crs else {})
    path.write_text(json.dumps(whole))


Reader = Callable[..., Site]


@pytest.fixture
def read(plain_site: Callable[..., Path], tmp_path: Path) -> Reader:
    """Reads a plain site with one [[neighbours]] table of the layer n.geojson."""

    def reader(*features: Any, kind: str = "building", more: str = "", crs: Any = CRS) -> Site:
        site = plain_site(tmp_path)
        if features:
            layer(tmp_path / "n.geojson", *features, crs=crs)
        table = f'\n[[neighbours]]\nfile = "n.geojson"\nkind = "{kind}"\n{more}\n'
        site.write_text(site.read_text() + table)
        return read_site(site)

    return reader


def found(read: Reader, *features: Any, **how: Any) -> Receptors:
    site = read(*features, **how)
    assert site.neighbours is not None
    return site.neighbours


def fault(read: Reader, *features: Any, **how: Any) -> str:
    with pytest.raises(InputFaults) as caught:
        read(*features, **how)
    return str(caught.value)


def test_attributes_units_words_and_defaults(read: Reader, tmp_path: Path) -> None:
    receptors = found(
        read,
        (box(30, 0), {"label": "A", "H": 30.0, "base": "oak piles", "top": "3 ft"}),
        (box(50, 0), {"label": None, "H": None, "base": None, "top": None}),
        more='name = "row"\nattributes = { name = "label", height = "H [ft]", foundation = "base", '
        'pile_head = "top" }\nwords = { "oak piles" = "wood piles" }\n'
        'defaults = { foundation = "raft", height = "9 m" }\nlimit = { settlement = "20 mm" }',
    )
    assert list(receptors.name) == ["A", "row 2"]
    assert list(receptors.texts["foundation"]) == ["wood piles", "raft"]
    np.testing.assert_allclose(receptors.numbers["height"], [9.144, 9.0])
    np.testing.assert_allclose(receptors.numbers["pile_head"], [0.9144, np.nan])
    np.testing.assert_allclose(receptors.numbers["limit_settlement"], 0.02)


def test_a_features_own_limit_goes_before_the_layers(read: Reader) -> None:
    receptors = found(
        read,
        (box(30, 0), {"limit_settlement": 0.005}),
        (box(50, 0), {"limit_settlement": None}),
        more='limit = { settlement = "20 mm" }',
    )
    np.testing.assert_allclose(receptors.numbers["limit_settlement"], [0.005, 0.02])


def test_the_layer_is_hashed_among_the_inputs(read: Reader, tmp_path: Path) -> None:
    site = read((box(30, 0), {}))
    data = (tmp_path / "n.geojson").read_bytes()
    assert site.files["n.geojson"] == hashlib.sha256(data).hexdigest()


def test_written_and_read_again(read: Reader, tmp_path: Path) -> None:
    site = read((box(30, 0), {"height": 7.0}), (box(50, 0), {"height": None}))
    assert site.neighbours is not None
    site.neighbours.write(tmp_path / "kept.gpkg", site.crs)
    again = Receptors.read(tmp_path / "kept.gpkg", site.crs)
    assert list(again.name) == list(site.neighbours.name)
    for key, values in site.neighbours.numbers.items():
        np.testing.assert_array_equal(again.numbers[key], values)
    assert all(a.equals(b) for a, b in zip(again.shapes, site.neighbours.shapes, strict=True))


CASES: dict[str, tuple[list[Any], dict[str, Any], tuple[str, ...]]] = {
    "missing file": ([], {}, ("n.geojson", "no such file")),
    "wrong geometry": (
        [(point(30, 0), {})], {}, ("feature 1", "polygons for buildings", "It is a Point"),
    ),
    "unknown attribute": (
        [(box(30, 0), {})], {"more": 'attributes = { heigth = "H" }'},
        ("attributes.heigth", "Did you mean 'height'"),
    ),
    "attribute of another kind": (
        [(point(30, 0), {})], {"kind": "well", "more": "defaults = { height = 9 }"},
        ("defaults.height", "an attribute of a well"),
    ),
    "unknown column": (
        [(box(30, 0), {"storeys_m": 6})], {"more": 'attributes = { height = "storey_m" }'},
        ("attributes.height", "Did you mean 'storeys_m'"),
    ),
    "out of range": (
        [(box(30, 0), {"height": 7}), (box(50, 0), {"height": 7000})], {},
        ("feature 2", "from 1 to 1000 m", "'7000'"),
    ),
    "no number": (
        [(box(30, 0), {"height": "tall"})], {}, ("feature 1", "column 'height'", "'tall'"),
    ),
    "default out of range": (
        [(box(30, 0), {})], {"more": "defaults = { height = -3 }"},
        ("defaults.height", "from 1 to 1000 m"),
    ),
    "unknown foundation": (
        [(box(30, 0), {"foundation": "stilts"})], {}, ("wood piles", "'stilts'", "words"),
    ),
    "limit of another kind": (
        [(box(30, 0), {})], {"more": 'limit = { depletion = "5 m3/h" }'},
        ("limit.depletion", "a limit of a building"),
    ),
    "inside the pit": ([(box(5, 2, 4), {})], {}, ("feature 1", "outside the pit")),
    "invalid geometry": (
        [({"type": "Polygon", "coordinates": [[[EAST + x, NORTH + y] for x, y in
           ((30, 0), (40, 10), (40, 0), (30, 10), (30, 0))]]}, {})],
        {}, ("a valid geometry", "Self-intersection", "repair"),
    ),
    "another crs": (
        [({"type": "Point", "coordinates": [EAST + 400e3, NORTH]}, {})], {"kind": "well"},
        ("within 20 km", "another coordinate system"),
    ),
    "pump below the bottom": (
        [(point(30, 0), {"bottom": -5, "pump_level": -9})], {"kind": "well"},
        ("not below the well's bottom",),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_faults(read: Reader, name: str) -> None:
    features, how, told = CASES[name]
    said = fault(read, *features, **how)
    for text in told:
        assert text in said, said


def test_an_empty_layer_is_a_fault(read: Reader, tmp_path: Path) -> None:
    layer(tmp_path / "n.geojson")
    assert "at least one feature" in fault(read)


def test_many_faults_of_one_sort_are_counted(read: Reader) -> None:
    said = fault(read, *[(point(30 + i, 0), {}) for i in range(40)])
    assert said.count("It is a Point") == 3
    assert "37 more features" in said


def test_wood_piles_without_head_level_are_told(read: Reader) -> None:
    site = read((box(30, 0), {"foundation": "wood piles"}))
    assert any("pile_head" in text for text in site.warnings)


def test_kept_in_feet_read_in_metres(read: Reader, tmp_path: Path) -> None:
    """The run folder's layer lies in the site's own units; the receptors are in metres."""
    site = read((box(30, 0), {}))
    assert site.neighbours is not None
    crs = SiteCrs.of(pyproj.CRS("EPSG:2263"), "EPSG:2263")
    site.neighbours.write(tmp_path / "kept.gpkg", crs)
    corner = shapely.get_coordinates(site.neighbours.shapes)[0]
    kept = geopandas.read_file(tmp_path / "kept.gpkg")
    first = shapely.get_coordinates(kept.geometry.to_numpy())[0]
    np.testing.assert_allclose(first * 1200 / 3937, corner, rtol=1e-12)
    again = Receptors.read(tmp_path / "kept.gpkg", crs)
    np.testing.assert_allclose(shapely.get_coordinates(again.shapes)[0], corner, rtol=1e-12)


def test_a_layer_from_before_an_attribute_was_added_is_read(read: Reader, tmp_path: Path) -> None:
    receptors = found(read, (box(30, 0), {"height": 9.0, "foundation": "raft"}))
    crs = SiteCrs.of(pyproj.CRS("EPSG:32633"), "EPSG:32633")
    older = receptors.to_frame(crs).drop(columns=["limit_slope", "foundation"])
    older.to_file(tmp_path / "kept.gpkg", layer="neighbours", engine="pyogrio")
    again = Receptors.read(tmp_path / "kept.gpkg", crs)
    np.testing.assert_allclose(again.numbers["height"], [9.0])
    assert np.isnan(again.numbers["limit_slope"]).all()
    assert list(again.texts["foundation"]) == [""]
