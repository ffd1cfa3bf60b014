"""Which cases to look at: uncertain values as distributions, and points drawn from them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.read_site import read_description
from wellring.inputs.site.overrides import Keys, find_path, value_at, with_values
from wellring.inputs.site.vary_plan import VaryParameter, VaryPlan
from wellring.model.studies.base_case import BaseCase

Floats = NDArray[np.float64]

REALISATION = ("borings", "realisation")
"""A number that stands for a whole way the ground may run, and has no order."""
LOW, HIGH = 0.1, 0.9
"""Quantiles that "one at a time" puts each parameter at."""


@dataclass(frozen=True)
class Uncertain:
    """One parameter: its value at a quantile (any shape), and the paths that move with it.

    `base` is the site file's value [SI]; `factors` the other paths' values over `base`.
    """

    path: str
    quantile: Callable[[Floats], Floats]
    base: float | None
    others: dict[str, float]
    text: str

    def overrides(self, value: float) -> dict[str, float]:
        """What to change in the site for a value of this parameter."""
        found = {self.path: float(value)}
        if self.base:
            found |= {p: float(value) * start / self.base for p, start in self.others.items()}
        return found


def values_of(parameters: Sequence[Uncertain], quantiles: Floats) -> Floats:
    """The parameters' values (d,) at their quantiles (d,)."""
    pairs = zip(parameters, quantiles, strict=True)
    return np.array([float(parameter.quantile(quantile)) for parameter, quantile in pairs])


def read_parameters(plan: VaryPlan, base: BaseCase) -> list[Uncertain]:
    """The parameters of a plan with their distributions in SI.

    Raises
    ------
    InputFaults : a path that is not there, a range upside down, a factor on a value that the
        file leaves out; all faults are told.
    """
    faults = base.site.fault_log()
    found = []
    seen: set[str] = set()
    for index, item in enumerate(plan.parameters):
        made = _parameter(item, f"vary.parameters.{index}", base, faults)
        for path in (item.path, *item.together):
            if path in seen:
                faults.add(base.site.file.name, f"vary.parameters.{index}", path,
                           "each path in one parameter only")  # fmt: skip
            seen.add(path)
        if made is not None:
            found.append(made)
    paths = [item.path for item in plan.parameters]
    for index, correlation in enumerate(plan.correlations):
        place = f"vary.correlations.{index}.of"
        if len(correlation.of) != 2 or len(set(correlation.of)) != 2:
            faults.add(
                base.site.file.name, place, list(correlation.of), "the paths of two parameters"
            )
        for path in correlation.of:
            if path not in paths:
                faults.add(base.site.file.name, place, path, "the path of a parameter of [vary]",
                           f"There are: {', '.join(paths)}.")  # fmt: skip
    if plan.correlations and plan.design in ("indices", "one at a time"):
        faults.add(base.site.file.name, "vary.correlations", None,
                   f"none with design '{plan.design}'",
                   "Shares of the variance are defined for independent parameters only; "
                   "take design = \"latin hypercube\".")  # fmt: skip
    faults.raise_if_any()
    return found


def _parameter(item: VaryParameter, place: str, base: BaseCase, faults: FaultLog) -> Any:
    from scipy import stats

    file, site = base.site.file.name, base.site.description
    keys = find_path(item.path, site, file, f"{place}.path", faults)
    if keys is None:
        return None
    start = value_at(site, keys)
    others = moved_together(item.together, place, base, faults)
    if item.range is not None:
        low, high = (in_si(base, keys, value, f"{place}.range", faults) for value in item.range)
        if low is None or high is None:
            return None
        if low >= high:
            faults.add(file, f"{place}.range", list(item.range), "a low end below the high end",
                       "Turn the two around.")  # fmt: skip
            return None
        if keys == REALISATION:
            law = stats.randint(int(low), int(high) + 1)
            return Uncertain(item.path, law.ppf, None, others,
                             f"{low:.0f} to {high:.0f}, each as likely")  # fmt: skip
        law = stats.uniform(low, high - low)
        return Uncertain(item.path, law.ppf, start if is_number(start) else None, others,
                         f"from {low:.4g} to {high:.4g}, evenly")  # fmt: skip
    if not is_number(start):
        faults.add(file, f"{place}.path", item.path, "a value that stands in the site file",
                   "Write it into the file, or give range = [low, high] here.")  # fmt: skip
        return None
    if item.factor is not None:
        law = stats.loguniform(*item.factor)
        text = f"file's value times {item.factor[0]:g} to {item.factor[1]:g}"
    elif item.spread is not None:
        law = stats.lognorm(np.log(item.spread))
        text = f"log-normal about the file's value, one standard deviation a factor {item.spread:g}"
    else:
        wide = in_si(base, keys, item.deviation, f"{place}.deviation", faults)
        if wide is None or wide <= 0:
            faults.add(file, f"{place}.deviation", item.deviation, "a deviation above 0")
            return None
        normal = stats.norm(start, wide)
        return Uncertain(item.path, normal.ppf, start, others,
                         f"normal about the file's value, deviation {wide:.4g}")  # fmt: skip
    return Uncertain(item.path, _scaled(law, float(start)), start, others, text)


def moved_together(
    paths: Sequence[str], place: str, base: BaseCase, faults: FaultLog
) -> dict[str, float]:
    """The file's values of paths that move with a parameter; faults where there is no number."""
    file, site = base.site.file.name, base.site.description
    found: dict[str, float] = {}
    for path in paths:
        own = find_path(path, site, file, f"{place}.together", faults)
        value = value_at(site, own) if own else None
        if own and not is_number(value):
            faults.add(file, f"{place}.together", path, "a path whose number stands in the file")
        elif own:
            found[path] = float(value or 0.0)
    return found


def _scaled(law: Any, start: float) -> Callable[[Floats], Floats]:
    return lambda quantile: start * law.ppf(quantile)


def is_number(value: Any) -> bool:
    """Whether a value of a site is one number."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def in_si(base: BaseCase, keys: Keys, value: Any, place: str, faults: FaultLog) -> float | None:
    """A value as the site file would read it at a path, in SI; None with a fault."""
    if is_number(value):
        return float(value)
    tables = with_values(base.tables, base.site.description, {keys: value})
    trial = FaultLog()
    description = read_description(tables, base.site.file.name, trial)
    read = value_at(description, keys) if description is not None else None
    if not is_number(read):
        expected = trial.faults[0].expected if trial.faults else "a number or a quantity"
        faults.add(base.site.file.name, place, value, expected)
        return None
    assert read is not None
    return float(read)


def draw(plan: VaryPlan, parameters: Sequence[Uncertain], faults: FaultLog, file: str) -> Floats:
    """Points of a design as quantiles (runs, parameters) between 0 and 1.

    "one at a time": the low and the high quantile of each in turn, the others at their medians.
    "indices": Saltelli's matrices A, B, then A with each column from B, stacked.

    Raises
    ------
    InputFaults : the correlations contradict one another.
    """
    from scipy.stats import qmc

    d = len(parameters)
    if plan.design == "one at a time":
        points = np.full((2 * d, d), 0.5)
        points[2 * np.arange(d), np.arange(d)] = LOW
        points[2 * np.arange(d) + 1, np.arange(d)] = HIGH
        return points
    if plan.design == "indices":
        n = 2 ** max(1, int(np.ceil(np.log2(max(2, plan.runs / (d + 2))))))
        drawn = qmc.Sobol(2 * d, seed=plan.seed).random(n)
        a, b = np.clip(drawn[:, :d], 1e-9, 1 - 1e-9), np.clip(drawn[:, d:], 1e-9, 1 - 1e-9)
        mixed = []
        for column in range(d):
            one = a.copy()
            one[:, column] = b[:, column]
            mixed.append(one)
        return np.vstack([a, b, *mixed])
    if plan.design == "sobol":
        n = 2 ** int(np.ceil(np.log2(plan.runs)))
        points = qmc.Sobol(d, seed=plan.seed).random(n)
    elif plan.design == "random":
        points = np.random.default_rng(plan.seed).random((plan.runs, d))
    else:
        points = qmc.LatinHypercube(d, seed=plan.seed).random(plan.runs)
    points = np.clip(points, 1e-9, 1 - 1e-9)
    return _correlated(points, plan, parameters, faults, file) if plan.correlations else points


def _correlated(
    points: Floats, plan: VaryPlan, parameters: Sequence[Uncertain], faults: FaultLog, file: str
) -> Floats:
    """Gaussian copula: normal scores mixed so that ranks correlate (Pearson r = 2·sin(π·ρs/6))."""
    from scipy.stats import norm

    paths = [parameter.path for parameter in parameters]
    wanted = np.eye(len(paths))
    for item in plan.correlations:
        i, j = (paths.index(path) for path in item.of)
        wanted[i, j] = wanted[j, i] = 2 * np.sin(np.pi * item.rank / 6)
    try:
        lower = np.linalg.cholesky(wanted)
    except np.linalg.LinAlgError:
        faults.add(
            file,
            "vary.correlations",
            None,
            "correlations that can hold at the same time",
            "The matrix is not positive definite: make the strongest ones weaker.",
        )
        faults.raise_if_any()
        raise
    return norm.cdf(norm.ppf(points) @ lower.T)
