"""What a fit gives: values with their intervals, readings, trigger levels, advice."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.measured.observations import Observation
from wellring.inputs.site.match_plan import MatchPlan
from wellring.model.studies.cases import Cases
from wellring.model.studies.engine import Study
from wellring.model.studies.match.fit import Fit
from wellring.model.studies.match.match_parameters import Fitted, transformed, values_at
from wellring.model.studies.variants import Outcome, Variant
from wellring.postprocess.water.measured import Reading, Trigger, advice, foretold

if TYPE_CHECKING:
    import pandas

Floats = NDArray[np.float64]

ALIKE = 0.95
"""Correlation from which two parameters are told as not to be known apart."""
_AT_BOUND = 1e-3


@dataclass
class Matched:
    """A fit, the measurements it was made to, and what it foretells.

    `prior` and `posterior` are cases drawn before and after, of the scheme that is foretold;
    `rows` the observations, those without a value being what is to be measured next.
    """

    study: Study
    plan: MatchPlan
    parameters: list[Fitted]
    rows: tuple[Observation, ...]
    fit: Fit
    scheme: str
    predicted: str
    prior: Cases
    posterior: Cases
    best: Variant
    source: dict[str, str]
    """The measurements' file and its SHA-256."""
    warnings: list[str] = field(default_factory=list)
    not_written: list[str] = field(default_factory=list)
    """Figures, layers and pages that could not be written, one sentence each."""

    @property
    def folder(self) -> Path:
        """The folder of the study."""
        return self.study.folder

    @property
    def stages(self) -> tuple[str, ...]:
        """Names of the dig's stages."""
        return tuple(s.name for s in self.study.base.site.description.excavation.stages)

    @cached_property
    def values(self) -> Floats:
        """The fitted values (p,) [SI]."""
        return values_at(self.parameters, self.fit.x)

    @cached_property
    def intervals(self) -> Floats:
        """95 % confidence intervals (p, 2) [SI], cut off at the bounds."""
        half = self.fit.quantile * self.fit.deviations
        found = []
        for item, x, wide in zip(self.parameters, self.fit.x, half, strict=True):
            low, high = item.to_value(x - wide), item.to_value(x + wide)
            found.append((max(low, item.low), min(high, item.high)))
        return np.array(found)

    @cached_property
    def at_bounds(self) -> list[str]:
        """Paths of parameters that ended at a bound."""
        low, high = (transformed(self.parameters, which) for which in ("low", "high"))
        near = np.minimum(self.fit.x - low, high - self.fit.x) < _AT_BOUND * (high - low)
        return [item.path for item, is_near in zip(self.parameters, near, strict=True) if is_near]

    @cached_property
    def open_directions(self) -> list[str]:
        """Combinations of parameters about which the measurements say less than was known."""
        found = []
        for value, direction in zip(self.fit.singular, self.fit.directions, strict=True):
            if value < 1:
                main = [i for i in np.argsort(-np.abs(direction)) if abs(direction[i]) > 0.3]
                found.append(" with ".join(self.parameters[i].path for i in main))
        return found

    @cached_property
    def readings(self) -> list[Reading]:
        """Every measurement against the fit."""
        spread = self.fit.spread_of(np.nan_to_num(self.fit.jacobian))
        rng = np.random.default_rng(self.plan.seed)
        before = self._computed(self.prior) if self.predicted == self.scheme else None
        found = []
        for index, item in enumerate(self.rows):
            if item.value is not None:
                band = None
                if before is not None and len(before):
                    low, _, high = foretold(before[:, index], item, rng)
                    band = (low, high) if np.isfinite(low) else None
                computed = float(self.fit.values[index])
                found.append(Reading(item, computed, float(spread[index]), band))
        return found

    @cached_property
    def triggers(self) -> list[Trigger]:
        """What is to be measured next, with its levels; empty where nothing was drawn."""
        before, after = self._computed(self.prior), self._computed(self.posterior)
        rng = np.random.default_rng(self.plan.seed)
        found = []
        for index, item in enumerate(self.rows):
            if item.value is None and len(after):
                old, new = before[:, index], after[:, index]
                known = new[np.isfinite(new)]
                wide = float(known.std()) if known.size else 0.0
                error = item.error_at(float(np.median(known))) if known.size else item.error
                found.append(
                    Trigger(item, foretold(old, item, rng), foretold(new, item, rng),
                            wide / error)
                )  # fmt: skip
        return [trigger for trigger in found if np.isfinite(trigger.after[1])]

    def _computed(self, cases: Cases) -> Floats:
        """Values of the observations (cases, rows) in cases that were solved."""
        solved = [values_of_rows(o) for o in cases.outcomes if not o.failed]
        return np.array(solved).reshape(len(solved), len(self.rows))

    @cached_property
    def fitted(self) -> Outcome:
        """The scheme that is foretold, with the fitted values."""
        return self.study.store.outcome(self.best)

    @cached_property
    def advice(self) -> list[str]:
        """What to do next, the most urgent first."""
        return advice(
            self.readings, self.triggers, self.stages, self.open_directions, self.at_bounds
        )

    @property
    def frame(self) -> pandas.DataFrame:
        """One row a measurement: measured, computed, residual, bands; SI."""
        from wellring.model.studies.match.match_tables import residual_table

        return residual_table(self)

    @property
    def parameter_frame(self) -> pandas.DataFrame:
        """One row a parameter: the file's value, the fitted one, its 95 % interval; SI."""
        from wellring.model.studies.match.match_tables import parameter_table

        return parameter_table(self)

    @property
    def prediction_frame(self) -> pandas.DataFrame:
        """One row a headline answer, with its bands before and after the fit; SI."""
        from wellring.model.studies.match.match_tables import prediction_table

        return prediction_table(self)

    @property
    def trigger_frame(self) -> pandas.DataFrame:
        """One row a thing to be measured next: bands, alert and action levels; SI."""
        from wellring.model.studies.match.match_tables import trigger_table

        return trigger_table(self)

    @property
    def exit_code(self) -> int:
        """0 where all limits hold with the fitted values; 1 where one does not, or was passed."""
        broken = any(a.get("ok") is False for a in self.fitted.answers.values())
        return int(broken or any(r.passed for r in self.readings))

    def as_json(self) -> dict[str, Any]:
        """What answers.json holds."""
        from wellring.model.studies.match.match_tables import as_json

        return as_json(self)

    def text(self) -> str:
        """Everything in words for a terminal, in SI."""
        from wellring.model.studies.match.match_tables import as_text

        return as_text(self)


def values_of_rows(outcome: Outcome) -> Floats:
    """What a case computes for each observation (n,); NaN where it has nothing."""
    return np.array([np.nan if v is None else v for v in outcome.computed], dtype=float)


def notes(done: Matched) -> list[str]:
    """What must be known beside the numbers."""
    found = []
    fit = done.fit
    if not fit.converged:
        found.append(f"the fit did not come to an end in {fit.rounds} rounds: {fit.why}")
    if fit.scale > 2:
        found.append(
            f"residuals are {np.sqrt(fit.scale):.1f} times as large as the errors given: intervals "
            "are widened by that, and the model may lack something"
        )
    correlation = fit.correlation
    for i, one in enumerate(done.parameters):
        for j in range(i):
            if abs(correlation[i, j]) > ALIKE:
                found.append(
                    f"{done.parameters[j].path} and {one.path} cannot be told apart by these "
                    f"measurements (correlation {correlation[i, j]:+.3f}): only their "
                    f"{'ratio' if correlation[i, j] > 0 else 'product'} is known"
                )
    found += [
        f"{text}: the measurements say less about it than was known"
        for text in done.open_directions
    ]
    found += [f"{path} ended at its bound; its interval says nothing" for path in done.at_bounds]
    for cases, when in ((done.prior, "before"), (done.posterior, "after")):
        failed = [o.failed for o in cases.outcomes if o.failed]
        if failed:
            found.append(
                f"{len(failed)} of {len(cases.variants)} cases {when} the fit gave no answer and "
                f"are left out; the first: {failed[0]}"
            )
    return found
