"""Soils on cells: conductivities, storage and extent of the modelled ground (SI)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT, conductivity_text
from wellring.inputs.site.site import Soil
from wellring.inputs.site.soil_tables import (
    DEFAULT_ANISOTROPY,
    DEFAULT_UNIT_WEIGHT,
    HAZEN_RANGE,
    default_specific_storage,
    default_specific_yield,
)
from wellring.model.grid.layers import Layers

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SoilValues:
    """One soil with nothing left open: kh, kv [m/s], ss [1/m], sy [-], weight [N/m³]."""

    kh: float
    kv: float
    ss: float
    sy: float
    weight: float
    assumptions: tuple[str, ...] = ()


def soil_values(name: str, soil: Soil, system: str = "metric") -> SoilValues:
    """Fill what a soil leaves out, saying so in `assumptions`."""
    said: list[str] = []
    kh = soil.horizontal_k
    if soil.kh is None and soil.d10 is not None:
        low, high = HAZEN_RANGE
        within = "" if low <= soil.d10 <= high else ", OUTSIDE the formula's range of d10"
        said.append(
            f"{name}: kh {conductivity_text(kh, system)} estimated from d10 "
            f"{soil.d10 * 1e3:g} mm (Hazen){within}"
        )
    kv = soil.kv
    if kv is None:
        kv = kh / DEFAULT_ANISOTROPY
        said.append(f"{name}: kv taken as kh/{DEFAULT_ANISOTROPY:g} (common practice, no source)")
    ss, law = soil.ss, soil.compression
    if ss == "auto":
        mv = (law.mv if law else None) or (1 / law.e_oed if law and law.e_oed else None)
        if mv is None and law is not None and law.cv is not None:
            ss = kv / law.cv
            said.append(f"{name}: ss {ss:.1e} 1/m from consolidation (kv/cv)")
        elif mv is None:
            ss = default_specific_storage(kh)
            said.append(f"{name}: ss {ss:g} 1/m assumed; cc gives no single stiffness without cv")
        else:
            ss = WATER_UNIT_WEIGHT * mv
            said.append(f"{name}: ss {ss:.1e} 1/m from stiffness (γw·mv)")
    elif ss is None:
        ss = default_specific_storage(kh)
        said.append(f"{name}: ss {ss:g} 1/m assumed (order of magnitude for its kh)")
    sy = soil.sy
    if sy is None:
        sy = default_specific_yield(kh)
        said.append(f"{name}: sy {sy:g} assumed from its kh (after Johnson 1967)")
    weight = soil.weight
    if weight is None:
        weight = DEFAULT_UNIT_WEIGHT
        said.append(f"{name}: saturated unit weight {weight / 1e3:g} kN/m³ assumed")
    return SoilValues(kh, kv, float(ss), sy, weight, tuple(said))


@dataclass(frozen=True)
class Ground:
    """The modelled ground on the grid, n = nrow·ncol plan cells.

    Parameters
    ----------
    layers : layer geometry.
    kh, kv, ss, sy : (nlay, n) properties [m/s, m/s, 1/m, -].
    active : (nlay, n) cells that take part (present, and within the modelled area).
    area : (n,) plan areas [m²].
    soil_of_unit : soil name of each unit.
    """

    layers: Layers
    kh: Floats
    kv: Floats
    ss: Floats
    sy: Floats
    active: NDArray[np.bool_]
    area: Floats
    soil_of_unit: tuple[str, ...]

    def cells_of(self, soils: tuple[str, ...] | None) -> NDArray[np.bool_]:
        """Mask (nlay, n) of active cells in `soils`, or of all active cells for None."""
        if soils is None:
            return self.active
        chosen = np.array([soil in soils for soil in self.soil_of_unit])
        return self.active & chosen[self.layers.unit]


def make_ground(
    layers: Layers,
    soil_of_unit: tuple[str, ...],
    values: dict[str, SoilValues],
    area: Floats,
    modelled: NDArray[np.bool_],
) -> Ground:
    """Spread soil values over cells. `modelled` (n,) is the plan area that takes part."""

    def spread(name: str) -> Floats:
        by_unit = np.array([getattr(values[soil], name) for soil in soil_of_unit])
        return by_unit[layers.unit]

    return Ground(
        layers=layers,
        kh=spread("kh"),
        kv=spread("kv"),
        ss=spread("ss"),
        sy=spread("sy"),
        active=layers.present & modelled[None, :],
        area=area,
        soil_of_unit=soil_of_unit,
    )
