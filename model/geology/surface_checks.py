"""Whether drawn surfaces stay within what the borings around them saw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.faults import FaultLog
from wellring.model.geology.contact_estimates import ContactEstimate
from wellring.model.geology.strata import LayerSurfaces, Strata

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

INFORMING = 4
"""Nearest borings whose range a surface is held against."""
NOTICED = 0.1
"""Excursions smaller than this [m] are not reported."""


@dataclass(frozen=True)
class _Excursion:
    label: str
    amount: float
    allowed: float
    x: float
    y: float


def warn_of_excursions(
    strata: Strata, surfaces: LayerSurfaces, x: Floats, y: Floats, faults: FaultLog
) -> None:
    """Warn where a surface leaves the range of its nearest borings by more than its own error.

    The error is the kriging standard deviation there, or the root mean square of the leave-one-out
    errors where the method has none. One warning names the worst place of each surface.

    Parameters
    ----------
    surfaces : at the points x, y of shape (n,) [m].
    """
    found = []
    for index, contact in enumerate(strata.contacts, start=1):
        beyond, allowed = _beyond(contact, surfaces, index, x, y)
        if beyond.size:
            worst = int(np.argmax(beyond - allowed))
            over = float(beyond[worst] - allowed[worst])
            if over > NOTICED:
                label = strata.units[index - 1].label
                found.append(
                    _Excursion(
                        label, float(beyond[worst]), float(allowed[worst]), x[worst], y[worst]
                    )
                )
    if not found:
        return
    found.sort(key=lambda one: one.allowed - one.amount)
    places = "; ".join(
        f"the bottom of '{one.label}' by {one.amount:.1f} m at ({one.x:.0f}, {one.y:.0f}), "
        f"standard deviation {one.allowed:.1f} m"
        for one in found
    )
    faults.warn(
        f"surfaces leave the range of their {INFORMING} nearest borings by more than their own "
        f"standard deviation: {places}. Check the layers there, or add a boring"
    )


def _beyond(
    contact: ContactEstimate, surfaces: LayerSurfaces, index: int, x: Floats, y: Floats
) -> tuple[Floats, Floats]:
    """How far a contact leaves the range of its borings, and how far it may; shape (n,) [m]."""
    from scipy.spatial import cKDTree

    levels = surfaces.levels
    data = np.vstack([np.column_stack([contact.x, contact.y, contact.values]), contact.bounds])
    nearest = min(INFORMING, len(data))
    near = cKDTree(data[:, :2]).query(np.column_stack([x, y]), k=range(1, nearest + 1))[1]
    values = data[:, 2][near]
    level = levels[index] - levels[0] if contact.drapes else levels[index]
    beyond = np.maximum(level - values.max(axis=1), values.min(axis=1) - level)
    # Cut off by the ground or the model floor it is no estimate any more.
    cut = (levels[index] >= levels[0]) | (levels[index] <= levels[-1])
    error = 0.0 if np.isnan(contact.error) else contact.error
    allowed = np.full(x.shape, error)
    if surfaces.std is not None:
        allowed = np.where(np.isnan(surfaces.std[index]), error, surfaces.std[index])
    return np.where(cut, 0.0, np.maximum(beyond, 0.0)), allowed
