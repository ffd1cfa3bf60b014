"""How each unit is compressed by a change of effective stress: linear or logarithmic laws.

Linear (m_v or E_oed = 1/m_v): ε = m_v·Δσ'. Logarithmic (C_c with preconsolidation):
ε = [C_r·lg(σ'/σ'₀) + (C_c − C_r)·lg(σ'_max/σ'_p)] / (1 + e₀), where σ'_max is the highest stress
so far, at least σ'_p. It is the usual C_r line up to σ'_p and C_c line beyond (NAVFAC DM-7.1,
ch. 5), and unloads and reloads along C_r from wherever the stress has been.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY, WATER_UNIT_WEIGHT
from wellring.inputs.site.site import Compression
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.consolidation import SLOW

Floats = NDArray[np.float64]

YEAR = 365.25 * DAY
RELOADING = 0.2
"""C_r/C_c where a soil gives no C_r: the upper end of the 1/10 to 1/5 found in textbooks, as in
Das, Principles of Geotechnical Engineering (value from memory)."""
COARSE = 1e-5
"""kh [m/s] from which a soil without compression data counts as sand or gravel."""
COARSE_MODULUS = 20e6
"""E_oed [Pa] of such a soil: within 10–25 MPa, Bowles (1996), Table 2-8, loose sand (value from
memory); dense sand and gravel are stiffer and settle less."""
CLASH = 5.0
"""Factor from which two values that should agree are told to differ (k alone scatters by 3–10)."""
LEAST_STRESS = 1e3
"""Initial effective stress [Pa] below which logarithmic laws are not followed."""


@dataclass(frozen=True)
class Laws:
    """Law of each unit (units,): NaN in `mv` where it is logarithmic or not known.

    Parameters
    ----------
    mv : coefficient of volume compressibility [1/Pa].
    cc, cr : C_c/(1 + e₀) and C_r/(1 + e₀), 0 where linear.
    ocr, pop : overconsolidation ratio [-], and what σ'_p exceeds σ'₀·ocr by [Pa].
    cv : coefficient of consolidation [m²/s] where given, else NaN.
    kv : vertical conductivity [m/s].
    counted : whether the unit's compression is known.
    assumptions : what the user did not give, with its source.
    unknown : soils whose compression is not counted.
    """

    mv: Floats
    cc: Floats
    cr: Floats
    ocr: Floats
    pop: Floats
    cv: Floats
    kv: Floats
    counted: NDArray[np.bool_]
    assumptions: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)

    def preconsolidation(self, unit: NDArray[np.int16], initial: Floats) -> Floats:
        """Preconsolidation stress (nlay, n) [Pa] under an initial effective stress."""
        return np.maximum(initial, LEAST_STRESS) * self.ocr[unit] + self.pop[unit]

    def strain(
        self,
        unit: NDArray[np.int16],
        initial: Floats,
        now: Floats,
        preconsolidation: Floats,
        highest: Floats,
    ) -> Floats:
        """Vertical strain (nlay, n) since the initial state, compression positive.

        Parameters
        ----------
        highest : highest effective stress so far, at least `preconsolidation` [Pa].
        """
        linear = np.where(np.isnan(self.mv), 0.0, self.mv)[unit] * (now - initial)
        if not self.cc.any():
            return linear
        base, current = np.maximum(initial, LEAST_STRESS), np.maximum(now, LEAST_STRESS)
        cr, cc = self.cr[unit], self.cc[unit]
        return (
            linear
            + cr * np.log10(current / base)
            + (cc - cr) * np.log10(highest / preconsolidation)
        )

    def stiffness(
        self, unit: NDArray[np.int16], initial: Floats, change: Floats, strain: Floats
    ) -> Floats:
        """Secant m_v (nlay, n) [1/Pa] of a change of stress; the tangent where it is tiny."""
        base = np.maximum(initial, LEAST_STRESS)
        loose = (self.ocr[unit] <= 1.001) & (self.pop[unit] <= 0.0)
        ratio = np.where(loose & (change >= 0), self.cc[unit], self.cr[unit])
        tangent = np.where(np.isnan(self.mv[unit]), ratio / (np.log(10.0) * base), self.mv[unit])
        with np.errstate(invalid="ignore", divide="ignore"):
            secant = strain / change
        return np.where((np.abs(change) > 100.0) & (secant > 0), secant, tangent)

    def consolidation(self, unit: NDArray[np.int16], mv: Floats) -> Floats:
        """c_v (nlay, n) [m²/s]: the given one, else kv/(m_v·γ_w); infinite where m_v is 0."""
        with np.errstate(divide="ignore"):
            found = self.kv[unit] / (mv * WATER_UNIT_WEIGHT)
        given = self.cv[unit]
        return np.where(np.isnan(given), found, given)


def laws_of(run: RunFolder) -> Laws:
    """The laws of a run's units, from the site description kept in its folder.

    A sand or gravel without compression data gets :data:`COARSE_MODULUS` as an assumption; any
    other soil without them is not counted, and named in `unknown`.
    """
    ledger, description = run.ledger, run.description
    soils = list(dict.fromkeys(unit.soil for unit in ledger.units))
    assumptions: list[str] = []
    unknown: list[str] = []
    by_soil: dict[str, tuple[float, ...]] = {}
    for name in soils:
        entry = ledger.soils[name]
        given = description.soils[name].compression if name in description.soils else None
        if given is not None:
            by_soil[name] = _parameters(name, given, assumptions)
        elif entry.kh >= COARSE:
            assumptions.append(
                f"{name}: stiffness E_oed {COARSE_MODULUS / 1e6:g} MPa assumed for a sand or "
                "gravel without a compression table (10–25 MPa for loose sand, Bowles 1996, value "
                "from memory)"
            )
            by_soil[name] = (1 / COARSE_MODULUS, 0.0, 0.0, 1.0, 0.0, np.nan)
        else:
            unknown.append(name)
            by_soil[name] = (0.0, 0.0, 0.0, 1.0, 0.0, np.nan)
    table = np.array([by_soil[unit.soil] for unit in ledger.units]).T
    mv, cc, cr, ocr, pop, cv = table
    return Laws(
        mv=mv,
        cc=cc,
        cr=cr,
        ocr=ocr,
        pop=pop,
        cv=cv,
        kv=np.array([ledger.soils[unit.soil].kv for unit in ledger.units]),
        counted=np.array([unit.soil not in unknown for unit in ledger.units]),
        assumptions=assumptions,
        unknown=unknown,
    )


def _parameters(name: str, given: Compression, assumptions: list[str]) -> tuple[float, ...]:
    """mv, cc, cr, ocr, pop, cv of one soil in the order of :class:`Laws`."""
    cv = np.nan if given.cv is None else given.cv
    if given.cc is None:
        mv = given.mv if given.mv is not None else 1 / (given.e_oed or np.inf)
        return mv, 0.0, 0.0, 1.0, 0.0, cv
    voids = 1 + (given.e0 or 0.0)
    cr = given.cr
    if cr is None:
        cr = RELOADING * given.cc
        assumptions.append(
            f"{name}: cr {cr:g} taken as {RELOADING:g}·cc (1/10 to 1/5 in textbooks, as in Das, "
            "value from memory)"
        )
    ocr, pop = given.ocr, given.pop
    if ocr is None and pop is None:
        assumptions.append(
            f"{name}: taken as normally consolidated, for it gives neither ocr nor pop; any "
            "preconsolidation makes the settlement smaller"
        )
    return np.nan, given.cc / voids, cr / voids, ocr or 1.0, pop or 0.0, cv


def clashing_stiffness(run: RunFolder, laws: Laws) -> list[str]:
    """Slow soils whose c_v, kv, stiffness and storage contradict one another, in words."""
    said = []
    for name in dict.fromkeys(unit.soil for unit in run.ledger.units):
        index = [unit.soil for unit in run.ledger.units].index(name)
        mv, cv, soil = laws.mv[index], laws.cv[index], run.ledger.soils[name]
        if np.isnan(mv) or mv == 0.0 or soil.kv >= SLOW:
            continue
        own = soil.kv / (mv * WATER_UNIT_WEIGHT)
        if not np.isnan(cv) and not 1 / CLASH < cv / own < CLASH:
            said.append(
                f"{name}: its cv of {cv * YEAR:.3g} m²/year does not fit kv/(mv·γw) = "
                f"{own * YEAR:.3g} m²/year; settlement in time goes by cv, the water by kv"
            )
        stored = soil.ss / (mv * WATER_UNIT_WEIGHT)
        if run.ledger.phases and not 1 / CLASH < stored < CLASH:
            said.append(
                f"{name}: its ss of {soil.ss:.2g} 1/m does not fit its stiffness "
                f"({mv * WATER_UNIT_WEIGHT:.2g} 1/m); in time its pore pressures go by ss. "
                'Write ss = "auto"'
            )
    return said
