"""Vector files as tables of features in site metres: which layer, which crs, which numbers."""

from __future__ import annotations

import json
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.named_files import find_file, is_file
from wellring.inputs.basics.signatures import is_plain_vector, is_stored_layer
from wellring.inputs.geodata.crs import (
    SiteCrs,
    in_use,
    look_swapped,
    on_a_map,
    on_a_plane,
    same_plan,
    shift_points,
)

if TYPE_CHECKING:
    import geopandas
    import pyproj

#: Vector formats read, by suffix. Others may point to servers or hold drawings without a crs.
FORMATS = (".geojson", ".json", ".gpkg", ".shp", ".fgb")
_FORMATS_TEXT = "a GeoJSON, GeoPackage, Shapefile or FlatGeobuf file"

# A layer in degrees this wide is no layer of a site: more likely metres taken for degrees.
_WIDEST_DEGREES = 15.0


def read_features(
    ref: str,
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> geopandas.GeoDataFrame | None:
    """The features of a vector file with their attributes, geometry in site metres.

    A file in another crs is reprojected; one without a crs is taken to be in the site's, with a
    warning. GeoJSON without a crs member is in WGS 84 longitude and latitude (RFC 7946) unless
    its numbers cannot be degrees: then they are taken as site coordinates, with a warning.
    Features without geometry are left out with a warning; heights of vertices are dropped.

    Parameters
    ----------
    ref : file relative to `folder`; ``"file.gpkg#layer"`` names one of several layers.

    Returns
    -------
    At least one feature, without a `crs` (its unit is always the metre); None after a fault.
    """
    import geopandas

    found = _find(ref, folder, faults, site_file, place)
    if found is None:
        return None
    path, layer = found
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            table = geopandas.read_file(
                path, layer=layer, engine="pyogrio", use_arrow=False, on_invalid="raise"
            )
    except (RuntimeError, ValueError, OSError, shapely.errors.ShapelyError) as error:
        faults.add(site_file, place, ref, _FORMATS_TEXT, f"It cannot be read: {_short(error)}")
        return None
    for warning in said:
        if not issubclass(warning.category, DeprecationWarning | FutureWarning):
            faults.warn(f"{site_file}: {place}: {ref}: {_short(warning.message)}")
    if not isinstance(table, geopandas.GeoDataFrame):
        faults.add(site_file, place, ref, "a layer with geometry", "It is a table without any")
        return None
    missing = table.geometry.isna() | table.geometry.is_empty
    if missing.all():
        faults.add(site_file, place, ref, "at least one feature", "The layer is empty")
        return None
    if missing.any():
        faults.warn(
            f"{site_file}: {place}: {ref}: {missing.sum()} features without geometry left out"
        )
        table = table[~missing].reset_index(drop=True)
    shapes = shapely.force_2d(table.geometry.to_numpy())
    if not on_a_map(shapely.get_coordinates(shapes)):
        faults.add(
            site_file,
            place,
            ref,
            "coordinates within ±1e8",
            "It holds others, or NaN or infinite ones",
        )
        return None
    moved = _in_site_metres(shapes, table.crs, path, ref, crs, faults, site_file, place)
    if moved is None:
        return None
    attributes = table.drop(columns=table.geometry.name)
    return geopandas.GeoDataFrame(attributes, geometry=moved)


def _find(
    ref: str, folder: Path, faults: FaultLog, site_file: str | Path, place: str
) -> tuple[Path, str | None] | None:
    """The path and the layer that `ref` names."""
    import pyogrio

    name, layer = ref, None
    if "#" in ref and not is_file(folder / ref):
        name, layer = ref.rsplit("#", 1)
    path = find_file(name, folder, FORMATS, _FORMATS_TEXT, faults, site_file, place, ref)
    if path is None:
        return None
    try:
        if not is_plain_vector(path):
            remedy = "It cannot be read: what stands in it is something else than its name says"
            faults.add(site_file, place, ref, _FORMATS_TEXT, remedy)
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            listed = pyogrio.list_layers(path)
    except (RuntimeError, ValueError, OSError) as error:
        faults.add(site_file, place, ref, _FORMATS_TEXT, f"It cannot be read: {_short(error)}")
        return None
    layers = [str(name) for name, kind in listed if kind is not None]
    if layer is not None and layer not in layers:
        faults.add(site_file, place, ref, "a layer of that file", nearest(layer, layers))
        return None
    if layer is None and len(layers) > 1:
        faults.add(
            site_file,
            place,
            ref,
            "a file with one layer",
            f'It has {", ".join(layers)}; write "{name}#{layers[0]}" to take one',
        )
        return None
    if not layers:
        faults.add(site_file, place, ref, "a layer with geometry", "The file has none")
        return None
    layer = layer or layers[0]
    try:
        stored = path.suffix.lower() != ".gpkg" or is_stored_layer(path, layer)
    except OSError as error:
        faults.add(site_file, place, ref, _FORMATS_TEXT, f"It cannot be read: {_short(error)}")
        return None
    if not stored:
        remedy = f"'{layer}' is a view, worked out when it is read; export it as a layer"
        faults.add(site_file, place, ref, "a layer whose features stand in the file", remedy)
        return None
    return path, layer


def _in_site_metres(
    shapes: np.ndarray,
    own: pyproj.CRS | None,
    path: Path,
    ref: str,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> np.ndarray | None:
    """Geometries from the file's crs (`own`) to site metres."""
    where = f"{site_file}: {place}: {ref}"
    xy = shapely.get_coordinates(shapes)
    if own is None:
        faults.warn(f"{where} states no crs; its coordinates are taken to be in {crs.text}")
    elif not on_a_plane(own):
        remedy = f"{own.name} places nothing on a map; give the layer the crs it is drawn in"
        faults.add(site_file, place, ref, "a layer in a projected or geographic crs", remedy)
        return None
    elif own.is_geographic:
        if (np.abs(xy) > [180.0, 90.0]).any():
            if not _is_geojson(path) or not (np.abs(xy) > 180.0).any():
                # Second numbers of 90 to 180 may be degrees exchanged; only more are surely none.
                faults.add(
                    site_file,
                    place,
                    ref,
                    f"degrees, as its crs {own.name} says",
                    "Its numbers are no longitudes and latitudes (in this order)",
                )
                return None
            faults.warn(
                f"{where}: numbers beyond degrees, so its coordinates are taken to be in "
                f"{crs.text}; GeoJSON without a crs member should be in longitude and latitude"
            )
            own = None
        elif not _lonlat_fits(xy, path, ref, crs, faults, site_file, place):
            return None
    if own is not None and not same_plan(own, crs.crs):
        xy, accuracy = shift_points(xy, own, crs.crs)
        if not np.isfinite(xy).all():
            faults.add(
                site_file,
                place,
                ref,
                f"coordinates that {crs.text} can show",
                f"From {own.name} some cannot be reprojected",
            )
            return None
        if accuracy is None or accuracy > 1.0:
            much = "of unstated accuracy" if accuracy is None else f"good to {accuracy:g} m"
            faults.warn(
                f"{where}: reprojected from {own.name} to {crs.text}, {much}; check it on the map"
            )
    metres = crs.to_metres(xy)
    if look_swapped(crs, metres):
        faults.add(
            site_file,
            place,
            ref,
            "x (east) before y (north)",
            f"In {crs.text} they make sense only the other way round: exchange x and y",
        )
        return None
    return shapely.set_coordinates(shapes.copy(), metres)


def _lonlat_fits(
    lonlat: np.ndarray,
    path: Path,
    ref: str,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
) -> bool:
    """Whether a layer in degrees can belong to a site in `crs`; else a fault."""
    spot = f"longitude {lonlat[0, 0]:.4f}, latitude {lonlat[0, 1]:.4f}"
    advice = ""
    if _is_geojson(path) and not _has_crs_member(path):
        advice = ". GeoJSON without a crs member is in degrees; write it with one, or as GeoPackage"
    if np.ptp(lonlat, axis=0).max() > _WIDEST_DEGREES:
        faults.add(
            site_file,
            place,
            ref,
            "a layer of the site",
            f"In degrees it is {np.ptp(lonlat, axis=0).max():.0f} wide{advice}",
        )
        return False
    if in_use(crs, lonlat) is not False:
        return True
    flipped = lonlat[:, ::-1]
    if in_use(crs, flipped) and (np.abs(flipped) <= [180.0, 90.0]).all():
        faults.add(
            site_file,
            place,
            ref,
            "longitude before latitude",
            f"It begins at {spot}; exchanged they lie where {crs.text} is used",
        )
    else:
        faults.add(
            site_file,
            place,
            ref,
            f"a place where {crs.text} is used",
            f"It begins at {spot}{advice}",
        )
    return False


def _is_geojson(path: Path) -> bool:
    return path.suffix.lower() in (".geojson", ".json")


def _has_crs_member(path: Path) -> bool:
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return False
    return isinstance(content, dict) and "crs" in content


def _short(error: object) -> str:
    said = str(error).partition("; It might help")[0]  # GDAL's advice to programmers
    return " ".join(said.split())[:300].rstrip(".")
