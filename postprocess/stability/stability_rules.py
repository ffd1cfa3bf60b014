"""The rules of a stability check with all their factors, and where each factor comes from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.stability import Stability

Floats = NDArray[np.float64]

DEFAULTS = {
    "uplift_destabilising": (
        1.0, "EN 1997-1:2004 Annex A, Table A.15, γ_G;dst (value from memory)"),
    "uplift_stabilising": (
        0.9, "EN 1997-1:2004 Annex A, Table A.15, γ_G;stb (value from memory)"),
    "pile_tension": (
        1.4, "EN 1997-1:2004 Annex A, Table A.16, γ_s;t (value from memory)"),
    "heave_destabilising": (
        1.35, "EN 1997-1:2004 Annex A, Table A.17, γ_G;dst (table's number from memory)"),
    "heave_stabilising": (
        0.9, "EN 1997-1:2004 Annex A, Table A.17, γ_G;stb (table's number from memory)"),
    "uplift_factor": (1.2, "common practice is 1.1 to 1.3, no source"),
    "heave_factor": (1.5, "common practice is 1.5 to 2, no source"),
    "flotation_factor": (1.1, "common practice, no source"),
    "exit_gradient_factor": (
        1.5, "common practice is 1.5 to 2 and more, no source; 1.35/0.90 of HYD is as much"),
}  # fmt: skip
_PARTIAL = (
    "uplift_destabilising",
    "uplift_stabilising",
    "pile_tension",
    "heave_destabilising",
    "heave_stabilising",
)
_GLOBAL = ("uplift_factor", "heave_factor", "flotation_factor")


@dataclass(frozen=True)
class Rules:
    """EN 1997-1 with partial factors, or global factors; utilisations hold up to 1.

    Parameters
    ----------
    partial : whether partial factors apply.
    factors : every factor of :class:`wellring.inputs.site.stability.Stability` by its key.
    assumptions : the factors that the user did not give, each with its source.
    """

    partial: bool
    factors: dict[str, float]
    assumptions: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, given: Stability, slab: bool) -> Rules:
        """The rules of a site; `slab`: whether one is cast, so that its factors are told."""
        partial = given.rules == "EN 1997-1"
        used = [*(_PARTIAL if partial else _GLOBAL), "exit_gradient_factor"]
        factors, told = {}, []
        for key, (value, source) in DEFAULTS.items():
            own = getattr(given, key)
            factors[key] = value if own is None else own
            about_slab = key in ("pile_tension", "flotation_factor")
            if own is None and key in used and (slab or not about_slab):
                told.append(f"stability.{key} = {value:g}: {source}")
        return cls(partial, factors, told)

    @property
    def name(self) -> str:
        """What the rules are called in answers."""
        return "EN 1997-1" if self.partial else "global factor"

    def text(self, subject: str) -> str:
        """The factors of "uplift", "heave" or "flotation" in words."""
        if not self.partial:
            return f"global factor {self.factors[f'{subject}_factor']:g}"
        state = "heave" if subject == "heave" else "uplift"
        return (
            f"EN 1997-1 {'HYD, expression (2.9b)' if state == 'heave' else 'UPL'}, factors "
            f"{self.factors[f'{state}_destabilising']:g} on the water and "
            f"{self.factors[f'{state}_stabilising']:g} on the weight"
        )

    def _ratio(self, subject: str) -> float:
        """What the weight must be over what the water does."""
        if not self.partial:
            return self.factors[f"{subject}_factor"]
        state = "heave" if subject == "heave" else "uplift"
        return self.factors[f"{state}_destabilising"] / self.factors[f"{state}_stabilising"]

    def uplift(self, stress: Floats, pressure: Floats) -> Floats:
        """Utilisation [-] of a plug's weight: `stress` against water `pressure`, one shape [Pa]."""
        return _used(self._ratio("uplift") * pressure, stress)

    def pressure_held(self, stress: Floats) -> Floats:
        """The greatest water pressure [Pa] that a total stress [Pa] holds down, of its shape."""
        return stress / self._ratio("uplift")

    def heave(self, weight: Floats, seepage: Floats) -> Floats:
        """Utilisation [-] of the submerged `weight` G′ by the `seepage` force S, one shape [Pa]."""
        return _used(self._ratio("heave") * np.maximum(seepage, 0.0), weight)

    def heave_total(self, stress: Floats, pressure: Floats) -> Floats:
        """Utilisation [-] of EN 1997-1, expression (2.9a): the whole water `pressure` against the
        total `stress` at the base of a column, one shape [Pa]; with the factors of HYD."""
        return _used(self._ratio("heave") * pressure, stress)

    def slab_held(self, weight: float, tension: float) -> float:
        """The greatest water pressure [Pa] under a slab: its weight and the piles' tension."""
        if self.partial:
            held = self.factors["uplift_stabilising"] * weight
            held += tension / self.factors["pile_tension"]
            return held / self.factors["uplift_destabilising"]
        return (weight + tension) / self.factors["flotation_factor"]


def _used(load: Floats, holds: Floats) -> Floats:
    """load/holds; a large number where there is a load and nothing to hold it."""
    load, holds = np.nan_to_num(load, nan=0.0), np.maximum(holds, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.minimum(load / holds, 99.0)
    return np.where(load <= 0, 0.0, np.where(holds <= 0, 99.0, found))
