"""What a suction header takes of the lift of the points that hang on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.operation.pump_stations import COUNTED
from wellring.postprocess.water.header_network import lay_header
from wellring.postprocess.water.pipe_losses import PipeLaw

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SuctionHeader:
    """The header of one tier of wellpoints, in as many lengths as it has pumps.

    Parameters
    ----------
    level : to which its full lift draws the water [m].
    places : site positions (n, 2) [m] of all its points, in their order.
    per_pump : points on one pump.
    pipes : the law of friction and sizing. diameter : inner [m]; None: sized by the flow.
    """

    level: float
    places: Floats
    per_pump: int
    pipes: PipeLaw
    diameter: float | None

    def taken_off(self, numbers: Sequence[int], flows: Floats) -> Floats:
        """Lift [m] lost at the points `numbers` (m,) that give `flows` (m,) [m³/s].

        It is the friction between a point and its pump beyond :data:`COUNTED`, which the practical
        lift has taken off already. Darcy and Weisbach or Hazen and Williams, as for all pipes.
        """
        given = np.zeros(len(self.places))
        given[list(numbers)] = np.clip(flows, 0.0, None)
        lost = np.zeros(len(self.places))
        count = math.ceil(len(self.places) / self.per_pump)
        for part in np.array_split(np.arange(len(self.places)), count):
            if given[part].any():
                names = [str(i) for i in part]
                header = lay_header(
                    names, self.places[part], given[part], self.pipes, diameter=self.diameter
                )
                lost[part] = header.loss
        return np.asarray(np.maximum(lost - COUNTED, 0.0)[list(numbers)])
