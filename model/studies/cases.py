"""Solved cases of a study: their answers as arrays, and how often a limit fails in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.model.studies.engine import Study
from wellring.model.studies.frames import answer_names
from wellring.model.studies.variants import Outcome, Variant
from wellring.model.studies.vary.designs import Uncertain
from wellring.postprocess.neighbours.chances import Chance, chance
from wellring.postprocess.report_headlines import bare_text
from wellring.postprocess.run.answer import Answer

if TYPE_CHECKING:
    import pandas
    import xarray

Floats = NDArray[np.float64]


@dataclass(kw_only=True)
class Cases:
    """Cases of one scheme, in the order of `variants`, without the site file's own."""

    study: Study
    variants: list[Variant]
    scheme: str
    limits: dict[str, float] = field(default_factory=dict)
    """Answer → the most it may be [SI], beside the limits of the site."""

    @property
    def folder(self) -> Path:
        """Where the study's files are."""
        return self.study.folder

    @cached_property
    def outcomes(self) -> list[Outcome]:
        """What became of each case, without fields."""
        return self.study.outcomes(self.variants)

    @cached_property
    def base(self) -> Outcome:
        """The site file as it stands."""
        return self.study.store.outcome(Variant({}, self.scheme))

    @cached_property
    def names(self) -> list[str]:
        """Answers that are numbers and not the same in all cases."""
        return [name for name in answer_names(self.outcomes) if self._varies(name)]

    def _varies(self, name: str) -> bool:
        values = self.values(name)
        values = values[np.isfinite(values)]
        # Less than that is the solver's closure.
        return values.size > 1 and float(np.ptp(values)) > 1e-4 * float(np.abs(values).max())

    @cached_property
    def headlines(self) -> list[str]:
        """The answers that figures and text tell: dryness, discharge, settlement, cost, limits."""
        last = max((n.partition(".")[0] for n in self.names if n[:2].isdigit()), default="")
        wanted = [f"{last}.{n}" for n in ("dry_margin", "inflow_total", "settlement_largest")]
        wanted += [n for n in self.names if n in self.limits or n in ("cost_total", "cost")]
        wanted += [n for n in self.names if n in ("time.peak_flow", "time.volume")]
        return [name for name in dict.fromkeys(wanted) if name in self.names]

    def values(self, name: str) -> Floats:
        """One answer in all cases (cases,); NaN where a case has none."""
        found = [outcome.answers.get(name, {}).get("value") for outcome in self.outcomes]
        return np.array([v if isinstance(v, int | float) else np.nan for v in found], dtype=float)

    def label(self, name: str) -> tuple[str, str]:
        """An answer in words, and its unit."""
        entry = answer_names([self.base, *self.outcomes])[name]
        return entry["label"], entry["unit"]

    @cached_property
    def frame(self) -> pandas.DataFrame:
        """One row a case: parameters in SI, "failed", answers with units in the headings."""
        return self.study.frame(self.variants)

    def fields(self, name: str = "drawdown") -> xarray.DataArray:
        """A field of all cases that were solved, over (case, stage, cell); for notebooks."""
        import xarray

        rows = [i for i, o in enumerate(self.outcomes) if not o.failed]
        solved = [self.variants[i] for i in rows]
        return xarray.DataArray(
            np.stack(list(self.study.store.fields_of(solved, name))),
            dims=("case", "stage", "cell"),
            coords={"case": rows},
            name=name,
            attrs={"units": "m"},
        )

    def fails(self) -> dict[str, NDArray[np.bool_]]:
        """Limit → whether it fails in each case that was solved, (solved cases,)."""
        solved = [o for o in self.outcomes if not o.failed]
        names = dict.fromkeys(
            name for o in solved for name, a in o.answers.items() if a.get("ok") is not None
        )
        found = {
            self.label(name)[0]: np.array(
                [o.answers.get(name, {}).get("ok") is False for o in solved], dtype=bool
            )
            for name in names
        }
        for name, most in self.limits.items():
            values = self.values(name)
            values = values[[not o.failed for o in self.outcomes]]
            found[f"{self.label(name)[0]} above {self._shown(name, most)}"] = values > most
        if found:
            found["any limit"] = np.any(list(found.values()), axis=0)
        return found

    def _shown(self, name: str, value: float) -> str:
        """A value of an answer as the site shows it."""
        entry = answer_names([self.base, *self.outcomes])[name]
        told = Answer(value, entry["unit"], "", entry["label"], entry.get("kind", ""))
        return bare_text(told, self.study.base.site.description.site.show)

    def chances(self) -> dict[str, Chance]:
        """Limit → the chance that it fails, taking the cases for a sample."""
        return {name: chance(fails) for name, fails in self.fails().items()}


def variant_of(parameters: Sequence[Uncertain], values: Floats, scheme: str) -> Variant:
    """The case in which the parameters take some values (d,)."""
    overrides: dict[str, float] = {}
    for parameter, value in zip(parameters, values, strict=True):
        overrides |= parameter.overrides(float(value))
    return Variant(overrides, scheme)
