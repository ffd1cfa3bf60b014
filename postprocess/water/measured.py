"""The observational method: what was foretold against what is measured, and what to do next.

Bands hold nine of ten values: a level or flow outside is no proof that the ground is other than
thought, three of ten are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.measured.observations import Observation

Floats = NDArray[np.float64]

BAND = 0.90
"""Share of values that a band is to hold."""
_NORMAL_90 = 1.6449
"""Standard deviations on each side that hold 90 % of a normal distribution."""
MANY_OUTSIDE = 0.3
"""Share of measurements outside their bands from which the model itself is in doubt."""

CAUTIONS = (
    "Bands know only what the model knows: a seam between borings, a bad joint in a wall or a "
    "pump that fails lie outside them. Trigger levels are a proposal; who is responsible for the "
    "dig sets them, by local codes and with a licensed engineer, before the work begins, and "
    "names who does what when one is passed.",
    "A reading outside its band is read again first, with a second instrument; if it stands, the "
    "action is taken at once and the fit afterwards.",
)


@dataclass(frozen=True)
class Reading:
    """One measurement against the fit.

    Parameters
    ----------
    computed : the fitted model's value.
    spread : standard deviation of that value that the fit leaves, without the reading's error.
    before : 5 % and 95 % of what was foretold before the fit, errors included; None if not.
    """

    observation: Observation
    computed: float
    spread: float
    before: tuple[float, float] | None = None

    @property
    def residual(self) -> float:
        """Measured less computed; NaN where nothing was measured."""
        value = self.observation.value
        return float("nan") if value is None else value - self.computed

    @property
    def band(self) -> tuple[float, float]:
        """5 % and 95 % of what a reading would be, errors included."""
        half = _NORMAL_90 * float(np.hypot(self.spread, self.observation.error))
        return self.computed - half, self.computed + half

    @property
    def inside(self) -> bool | None:
        """Whether the measurement lies in the fit's band."""
        value, (low, high) = self.observation.value, self.band
        return None if value is None else low <= value <= high

    @property
    def passed(self) -> bool:
        """Whether the measurement passes what it must not."""
        item = self.observation
        low = item.at_least is not None and item.value is not None and item.value < item.at_least
        high = item.at_most is not None and item.value is not None and item.value > item.at_most
        return low or high


@dataclass(frozen=True)
class Trigger:
    """What is to be measured next: foretold before and after the fit, and when to be alarmed.

    `before` and `after` are 5 %, 50 % and 95 % of the reading, its error included; None where
    nothing was foretold. `telling` is the spread that the fit left over the reading's error.
    """

    observation: Observation
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    telling: float

    @property
    def alert(self) -> tuple[float, float]:
        """Low and high alert level: the band's ends, but never beyond what must not be passed."""
        item, (low, _, high) = self.observation, self.after
        return (
            low if item.at_least is None else max(low, item.at_least),
            high if item.at_most is None else min(high, item.at_most),
        )

    @property
    def action(self) -> tuple[float | None, float | None]:
        """Low and high action level: what must not be passed, where that was given."""
        return self.observation.at_least, self.observation.at_most

    @property
    def fails(self) -> bool:
        """Whether the middle of what is foretold passes what it must not."""
        low, high = self.action
        middle = self.after[1]
        return (low is not None and middle < low) or (high is not None and middle > high)


def foretold(
    values: Floats, item: Observation, rng: np.random.Generator
) -> tuple[float, float, float]:
    """5 %, 50 % and 95 % of what would be read where cases (n,) have these values."""
    values = values[np.isfinite(values)]
    if not values.size:
        return (float("nan"),) * 3
    # Each case stands for many readings; the same errors for all rows, so that bands compare.
    error = item.error_at(float(np.median(values)))
    read = values[:, None] + error * rng.standard_normal((1, 200))
    low, middle, high = np.quantile(read, [0.5 - BAND / 2, 0.5, 0.5 + BAND / 2])
    return float(low), float(middle), float(high)


def advice(
    readings: Sequence[Reading],
    triggers: Sequence[Trigger],
    stages: tuple[str, ...],
    open_directions: Sequence[str],
    at_bounds: Sequence[str],
) -> list[str]:
    """What to do next, the most urgent first.

    Parameters
    ----------
    stages : names of the dig's stages.
    open_directions, at_bounds : parameters that the measurements leave open, and those that ended
        at a bound.
    """
    found = []
    passed = [r.observation.where(stages) for r in readings if r.passed]
    if passed:
        found.append(
            f"Act now: {_some(passed)} passed what it must not. Take the action agreed for it "
            "(more pumping, recharge, stop the dig), then look for the cause."
        )
    fails = [t.observation.where(stages) for t in triggers if t.fails]
    if fails:
        found.append(
            f"Change the scheme before that stage: with the fitted ground {_some(fails)} is more "
            "likely than not to pass what it must not."
        )
    judged = [r for r in readings if r.inside is not None and r.observation.fitted]
    outside = [r.observation.where(stages) for r in judged if not r.inside]
    if judged and len(outside) > MANY_OUTSIDE * len(judged):
        found.append(
            f"Do not rely on the fit yet: {len(outside)} of {len(judged)} measurements lie outside "
            "their bands. Either the errors given are too small or something is missing in the "
            "model (a river, a leak, a layer, another user's well): look at the residuals in time "
            "and in plan before any k is changed."
        )
    elif outside:
        found.append(f"Read again: {_some(outside)} lies outside its band.")
    tested = [r for r in readings if r.inside is False and not r.observation.fitted]
    if tested:
        names = _some([r.observation.where(stages) for r in tested])
        found.append(f"The fit fails its test on measurements kept out of it: {names}.")
    if at_bounds:
        found.append(
            f"Look again at the bounds: {_some(at_bounds)} ended at one. If the bound is sound, "
            "the model lacks something that the parameter stands in for."
        )
    telling = sorted((t for t in triggers if t.telling > 1), key=lambda t: -t.telling)
    if open_directions:
        found.append(
            f"The measurements say less than was known about {_some(open_directions)}: measure "
            "something else, nearer to what it governs, before relying on it."
        )
    if telling:
        best = [t.observation.where(stages) for t in telling[:3]]
        found.append(
            f"Measure next: {_some(best)}; of what is listed there the model knows it least, "
            "against what an instrument can tell."
        )
    found.append(
        "Go on measuring and match again with every new week of readings; keep the trigger levels "
        "with the people on site."
    )
    return found


def _some(names: Sequence[str], most: int = 4) -> str:
    shown = "; ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
