"""Sublayers of clays whose consolidation is followed in time, thin where the clay drains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.site import SiteDescription
from wellring.model.grid.ground import SoilValues
from wellring.model.grid.layers import THINNEST
from wellring.postprocess.settlement.consolidation import SLOW

Floats = NDArray[np.float64]

PARTS, EVEN = 14, 0.1
"""Sublayers of a clay, and the part of each height that is the same for all: exact in time they
settle within 0.6 % of the final settlement of Terzaghi's series from T_v 0.001 on, and within 1.4 %
of the settlement so far from T_v 0.1 on. 12 sublayers: 0.8 % and 1.9 %; 14 of the same height:
2.5 % and 1.3 %."""
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
    Heights go with a cosine, from 2 % of the clay at its edges to 11 % in its middle. A clay too
    thin for that is halved, or left whole.
    """
    found = [np.zeros((0, levels.shape[1]))]
    if description.time is None:
        return found[0]
    parts = max(round(PARTS / coarser), 2)
    even = np.arange(1, parts)[:, None] / parts
    share = EVEN * even + (1 - EVEN) * 0.5 * (1 - np.cos(np.pi * even))
    for index, name in enumerate(soil_of_unit):
        if description.soils[name].compression is None or values[name].kv >= SLOW:
            continue
        top, height = levels[index], levels[index] - levels[index + 1]
        inner = np.where(height * share[0] >= THIN, share, 0.5)
        inner = np.where(height >= 2 * THINNEST, inner, 0.0)
        found.append(top - inner * height)
    return np.vstack(found)
