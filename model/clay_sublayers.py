"""Sublayers of clays whose consolidation is followed in time, thin where the clay drains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site import SiteDescription
from wellring.model.ground import SoilValues
from wellring.model.layers import THINNEST
from wellring.postprocess.consolidation import SLOW

Floats = NDArray[np.float64]

PARTS = 12
"""Sublayers of a clay: exact in time they settle within 0.8 % of the final settlement of Terzaghi's
series from T_v 0.001 on; 8 sublayers within 1.7 %, 12 of the same height within 2.9 %."""
THIN = 0.01
"""Least height [m] of a sublayer."""


def clay_surfaces(
    description: SiteDescription,
    soil_of_unit: Sequence[str],
    values: Mapping[str, SoilValues],
    levels: Floats,
    coarser: float = 1.0,
) -> Floats:
    """Surfaces (m, n) [m] that part each compressible clay; none where no time is asked for.

    Parameters
    ----------
    values : soils with nothing left open.
    levels : (n_units+1, n) ground, bottom of each unit [m].
    coarser : 2 halves the number of sublayers.

    Returns
    -------
    Heights go with a cosine, from 2 % of the clay at its edges to 13 % in its middle. A clay too
    thin for that is halved, or left whole.
    """
    found = [np.zeros((0, levels.shape[1]))]
    if description.time is None:
        return found[0]
    parts = max(round(PARTS / coarser), 2)
    share = 0.5 * (1 - np.cos(np.pi * np.arange(1, parts) / parts))[:, None]
    for index, name in enumerate(soil_of_unit):
        if description.soils[name].compression is None or values[name].kv >= SLOW:
            continue
        top, height = levels[index], levels[index] - levels[index + 1]
        inner = np.where(height * share[0] >= THIN, share, 0.5)
        inner = np.where(height >= 2 * THINNEST, inner, 0.0)
        found.append(top - inner * height)
    return np.vstack(found)
