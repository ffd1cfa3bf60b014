"""Read the layers of [[neighbours]]: geometry that fits the kind, attributes that make sense."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.validation import explain_validity

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.units import to_si
from wellring.inputs.geodata.crs import SiteCrs
from wellring.inputs.geodata.geodata import FAR_AWAY
from wellring.inputs.geodata.receptors import Receptors
from wellring.inputs.geodata.vector_files import read_features
from wellring.inputs.site.neighbours import (
    FOUNDATIONS,
    NUMBERS,
    TEXTS,
    Neighbour,
    Numeric,
    known_attributes,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

Floats = NDArray[np.float64]
Objects = NDArray[np.object_]

_SHAPES = {
    "building": (("Polygon", "MultiPolygon"), "polygons"),
    "utility": (("LineString", "MultiLineString"), "lines"),
    "well": (("Point", "MultiPoint"), "points"),
    "surface_water": (
        ("LineString", "MultiLineString", "Polygon", "MultiPolygon"),
        "lines or polygons",
    ),
    "wetland": (("Polygon", "MultiPolygon"), "polygons"),
    "contamination": (
        ("Polygon", "MultiPolygon", "LineString", "MultiLineString", "Point", "MultiPoint"),
        "polygons, lines or points",
    ),
}
"""Geometry of each kind, and how it is called."""
_TOLD = 3
"""Faults of one sort told one by one; the others are counted."""
_OVERLAP = 0.25
"""A neighbour may reach this much [m] over the pit's edge: slips of drawing."""
_UNIT = re.compile(r"^(.*\S)\s*\[([^\]]+)\]$")


def read_neighbours(
    tables: Sequence[Neighbour],
    folder: Path,
    crs: SiteCrs,
    faults: FaultLog,
    site_file: str | Path,
    pit: shapely.Polygon | None,
) -> Receptors | None:
    """All features of all layers; None where there are no tables or after a fault.

    Parameters
    ----------
    folder : what the tables' files are relative to.
    pit : outline of the excavation [m], in which nobody can stand; not looked at where None.
    """
    before, parts = len(faults.faults), []
    for index, table in enumerate(tables):
        part = _Layer(table, f"neighbours.{index}", crs, faults, site_file, pit).read(folder)
        if part is not None:
            parts.append(part)
    return Receptors.joined(parts) if parts and len(faults.faults) == before else None


class _Layer:
    """One table on its way to features."""

    def __init__(
        self,
        table: Neighbour,
        place: str,
        crs: SiteCrs,
        faults: FaultLog,
        site_file: str | Path,
        pit: shapely.Polygon | None,
    ):
        self.table, self.place, self.crs = table, place, crs
        self.faults, self.site_file, self.pit = faults, site_file, pit

    def read(self, folder: Path) -> Receptors | None:
        self._check_names()
        where = (folder, self.crs, self.faults, self.site_file, f"{self.place}.file")
        features = read_features(self.table.file, *where)
        if features is None:
            return None
        shapes = np.asarray(features.geometry.array, dtype=object)
        if not self._geometry_fits(shapes):
            return None
        layer = self.table.name or Path(self.table.file.split("#")[0]).stem
        texts = {key: self._text(key, features) for key in TEXTS}
        numbers = {key: self._number(key, features) for key in NUMBERS}
        for key, value in self.table.limit.model_dump().items():
            if value is not None and self.table.kind in NUMBERS[f"limit_{key}"].kinds:
                own = numbers[f"limit_{key}"]
                numbers[f"limit_{key}"] = np.where(np.isnan(own), value, own)
        count = len(shapes)
        numbered = np.array([f"{layer} {i + 1}" for i in range(count)], dtype=object)
        texts["name"] = np.where(texts["name"] == "", numbered, texts["name"])
        if self.table.kind == "building":
            self._check_foundations(texts["foundation"], numbers["pile_head"])
        if self.table.kind == "well":
            self._check_wells(numbers, texts["name"])
        kind = np.full(count, self.table.kind, dtype=object)
        return Receptors(shapes, kind, np.full(count, layer, dtype=object), texts, numbers)

    def _check_names(self) -> None:
        """Attributes and limits that the kind does not have."""
        kind, known = self.table.kind, known_attributes(self.table.kind)
        for part in ("attributes", "defaults"):
            for key in getattr(self.table, part):
                if key not in known:
                    place = f"{self.place}.{part}.{key}"
                    expected = f"an attribute of a {_called(kind)}"
                    self.faults.add(self.site_file, place, None, expected, nearest(key, known))
        for key, value in self.table.limit.model_dump(exclude_none=True).items():
            if f"limit_{key}" not in known:
                limits = [name[6:] for name in known if name.startswith("limit_")]
                place, expected = f"{self.place}.limit.{key}", f"a limit of a {_called(kind)}"
                self.faults.add(self.site_file, place, value, expected, nearest(key, limits))

    def _geometry_fits(self, shapes: Objects) -> bool:
        kinds, called = _SHAPES[self.table.kind]
        before = len(self.faults.faults)
        types = np.array([shape.geom_type for shape in shapes])
        wrong = np.flatnonzero(~np.isin(types, kinds))
        self._tell(
            wrong,
            f"a layer of {called} for {_called(self.table.kind)}s",
            lambda i: f"It is a {types[i]}",
        )
        bad = np.flatnonzero(~shapely.is_valid(shapes) & np.isin(types, kinds))
        self._tell(
            bad,
            "a valid geometry",
            lambda i: f"{explain_validity(shapes[i])} (in m); repair it where it was drawn",
        )
        if wrong.size or bad.size or self.pit is None:
            return len(self.faults.faults) == before
        distance = shapely.distance(shapes, self.pit)
        if distance.min() > FAR_AWAY:
            self.faults.add(
                self.site_file,
                f"{self.place}.file",
                self.table.file,
                f"a layer within {FAR_AWAY / 1000:g} km of the pit",
                f"Its nearest feature lies {distance.min() / 1000:.0f} km away; is it in another "
                "coordinate system?",
            )
        core = self.pit.buffer(-_OVERLAP)
        shapely.prepare(core)
        self._tell(
            np.flatnonzero(shapely.intersects(core, shapes)),
            "a neighbour outside the pit",
            lambda i: (
                "It lies in the excavation, or crosses it; take it out, or move the part that stays"
            ),
        )
        return len(self.faults.faults) == before

    def _tell(self, which: NDArray[np.intp], expected: str, remedy: Any) -> None:
        """Faults of features: the first few by their place in the file, the rest counted."""
        for i in which[:_TOLD]:
            place = f"{self.place}.file"
            value = f"{self.table.file}, feature {i + 1}"
            self.faults.add(self.site_file, place, value, expected, remedy(i))
        if which.size > _TOLD:
            self.faults.add(
                self.site_file,
                f"{self.place}.file",
                f"{self.table.file}, {which.size - _TOLD} more features",
                expected,
            )

    def _column(self, key: str, features: GeoDataFrame) -> tuple[Any, str, str] | None:
        """Values of an attribute, the column they stand in, and its unit ("" for SI)."""
        if self.table.kind not in (TEXTS[key] if key in TEXTS else NUMBERS[key].kinds):
            return None
        wanted = self.table.attributes.get(key)
        if wanted is None:
            return (features[key], key, "") if key in features else None
        if wanted in features:
            return features[wanted], wanted, ""
        match = _UNIT.match(wanted)
        if match and match[1] in features:
            return features[match[1]], match[1], match[2].strip()
        columns = [str(name) for name in features.columns if name != features.geometry.name]
        place, expected = f"{self.place}.attributes.{key}", f"a column of {self.table.file}"
        close = nearest(match[1] if match else wanted, columns) or "It has none."
        self.faults.add(self.site_file, place, wanted, expected, close)
        return None

    def _text(self, key: str, features: GeoDataFrame) -> Objects:
        found = self._column(key, features)
        default = str(self.table.defaults.get(key, ""))
        if found is None:
            kinds = TEXTS[key]
            return np.full(len(features), default if self.table.kind in kinds else "", object)
        words = self.table.words
        missing = found[0].isna().to_numpy()
        values = [
            "" if gone else str(value).strip()
            for value, gone in zip(found[0], missing, strict=True)
        ]
        values = [words.get(value, value) or default for value in values]
        return np.array(values, dtype=object)

    def _number(self, key: str, features: GeoDataFrame) -> Floats:
        item, default = NUMBERS[key], self.table.defaults.get(key, np.nan)
        found = self._column(key, features)
        if found is None:
            own = float(default) if self.table.kind in item.kinds else np.nan
            return np.full(len(features), own)
        column, called, unit = found
        values = _in_si(column, unit, item)
        gone = column.isna().to_numpy() | (column.astype(str).str.strip() == "").to_numpy()
        with np.errstate(invalid="ignore"):
            bad = ~gone & ~((values >= item.low) & (values <= item.high))
        self._tell(
            np.flatnonzero(bad),
            f"{item.bounds} in column '{called}'",
            lambda i: (
                f"It is '{str(column.iloc[i])[:40]}{f' {unit}' if unit else ''}'; columns are "
                f'in SI unless mapped as {key} = "{called} [unit]"'
            ),
        )
        return np.where(gone, float(default), values)

    def _check_foundations(self, foundation: Objects, head: Floats) -> None:
        known = np.isin(foundation.astype(str), ["", *FOUNDATIONS])
        self._tell(
            np.flatnonzero(~known),
            f"a foundation that is one of {', '.join(FOUNDATIONS)}",
            lambda i: (
                f"It is '{foundation[i][:40]}'; map it, as in words = "
                f'{{ "{foundation[i][:40]}" = "wood piles" }}'
            ),
        )
        unknown = int(np.sum((foundation == "wood piles") & np.isnan(head)))
        if unknown:
            self.faults.warn(
                f"{self.site_file}: {self.place}: {unknown} buildings on wood piles have no "
                "pile_head, the level of the pile heads: whether they fall dry is not judged"
            )

    def _check_wells(self, numbers: dict[str, Floats], name: Objects) -> None:
        both = ~np.isnan(numbers["bottom"]) & ~np.isnan(numbers["depth"])
        self._tell(
            np.flatnonzero(both),
            "bottom (a level) or depth (below ground), not both",
            lambda i: f"'{name[i]}' has both",
        )
        with np.errstate(invalid="ignore"):
            below = numbers["pump_level"] < numbers["bottom"]
        self._tell(
            np.flatnonzero(below),
            "a pump_level not below the well's bottom",
            lambda i: (
                f"'{name[i]}': {numbers['pump_level'][i]:g} m below "
                f"{numbers['bottom'][i]:g} m; levels are elevations, not depths"
            ),
        )


def _called(kind: str) -> str:
    return "surface water" if kind == "surface_water" else kind


def _in_si(column: Any, unit: str, item: Numeric) -> Floats:
    """A column's values in SI; NaN where they cannot be read."""
    if column.dtype.kind in "iuf":
        try:
            factor = to_si(f"1 {unit}", item.unit) if unit else 1.0
        except ValueError:
            return np.full(len(column), np.nan)
        return column.to_numpy(float) * factor
    values = np.full(len(column), np.nan)
    for i, value in enumerate(column):
        text = str(value).strip()
        if unit and re.fullmatch(r"[-+\d.eE]+", text):
            text = f"{text} {unit}"
        try:
            values[i] = to_si(text, item.unit)
        except ValueError:
            continue
    return values
