"""A vector layer in the site's crs and its units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.fields import site_crs
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def site_layer(
    run: RunFolder, columns: dict[str, Any], metres: NDArray[np.object_]
) -> GeoDataFrame:
    """A layer from columns of n values and geometries (n,) in site metres.

    Raises
    ------
    InputFaults : the ledger's crs is not known.
    """
    import geopandas

    unit = run.ledger.metres_per_unit
    geometry = np.asarray(metres, dtype=object).ravel()
    if unit != 1.0:
        geometry = shapely.transform(geometry, lambda xy: xy / unit)
    return geopandas.GeoDataFrame(columns, geometry=geometry, crs=site_crs(run).crs)
