"""Neighbours as one table of features, and the GeoPackage in which a run folder keeps them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.inputs.geodata.crs import SiteCrs
from wellring.inputs.site.neighbours import NUMBERS, TEXTS

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

Floats = NDArray[np.float64]
Objects = NDArray[np.object_]

RECEPTORS_FILE = "neighbours.gpkg"
"""Where a run folder keeps the neighbours it was made with."""
_LAYER = "neighbours"


@dataclass(frozen=True)
class Receptors:
    """What may be affected: one entry a feature, geometry in site metres, attributes in SI.

    Parameters
    ----------
    shapes : (n,) geometries.
    kind, layer : (n,) kind of :data:`wellring.inputs.site.neighbours.KINDS`, and the layer's name.
    texts : name of a text attribute → (n,) text, "" where not known.
    numbers : name of a numeric attribute → (n,) value in SI, NaN where not known.
    """

    shapes: Objects
    kind: Objects
    layer: Objects
    texts: dict[str, Objects]
    numbers: dict[str, Floats]

    def __len__(self) -> int:
        return int(self.shapes.size)

    @property
    def name(self) -> Objects:
        """(n,) the features' names."""
        return self.texts["name"]

    def is_kind(self, kind: str) -> NDArray[np.bool_]:
        """(n,) whether each feature is of a kind."""
        return np.asarray(self.kind == kind, dtype=bool)

    def to_frame(self, crs: SiteCrs) -> GeoDataFrame:
        """The table in the site's crs and its units; attributes stay SI."""
        import geopandas

        columns: dict[str, Any] = {"kind": self.kind, "layer": self.layer, **self.texts}
        columns |= self.numbers
        unit = crs.metres_per_unit
        shapes = (
            self.shapes if unit == 1.0 else shapely.transform(self.shapes, lambda xy: xy / unit)
        )
        return geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs.crs)

    def write(self, path: Path, crs: SiteCrs) -> None:
        """Write a GeoPackage of one layer, replacing one of the same name."""
        import pyogrio

        path.unlink(missing_ok=True)
        pyogrio.write_dataframe(self.to_frame(crs), path, layer=_LAYER, driver="GPKG")

    @classmethod
    def read(cls, path: Path, crs: SiteCrs) -> Receptors:
        """Read what :meth:`write` wrote; attributes added since then are not known.

        Raises
        ------
        OSError, ValueError, KeyError : it is not there, or was not written so.
        """
        import geopandas

        frame = geopandas.read_file(path, layer=_LAYER, engine="pyogrio")
        frame = frame.reindex(columns=frame.columns.union([*TEXTS, *NUMBERS], sort=False))
        shapes = np.asarray(frame.geometry.array, dtype=object)
        unit = crs.metres_per_unit
        return cls(
            shapes if unit == 1.0 else shapely.transform(shapes, lambda xy: xy * unit),
            frame["kind"].to_numpy(object),
            frame["layer"].to_numpy(object),
            {key: frame[key].astype(object).fillna("").to_numpy() for key in TEXTS},
            {key: frame[key].to_numpy(float) for key in NUMBERS},
        )

    @classmethod
    def joined(cls, parts: Sequence[Receptors]) -> Receptors:
        """Several tables as one, in their order."""

        def whole(arrays: Sequence[Any], kind: type) -> Any:
            return np.concatenate([np.zeros(0, kind), *arrays])

        return cls(
            whole([part.shapes for part in parts], object),
            whole([part.kind for part in parts], object),
            whole([part.layer for part in parts], object),
            {key: whole([part.texts[key] for part in parts], object) for key in TEXTS},
            {key: whole([part.numbers[key] for part in parts], float) for key in NUMBERS},
        )
