"""Fit a site's soils to what was measured, and foretell with what that leaves uncertain."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog, SolverFailed, nearest
from wellring.inputs.measured.observations import Observation, read_observations
from wellring.inputs.read_site import Site, read_site
from wellring.inputs.site.match_plan import MatchPlan
from wellring.inputs.site.site import Time
from wellring.model.runs.phases import phases
from wellring.model.runs.run import schemes_of
from wellring.model.studies.cases import Cases, variant_of
from wellring.model.studies.engine import Study, open_study
from wellring.model.studies.match.fit import Fit, NoStart, fit
from wellring.model.studies.match.match_parameters import (
    Fitted,
    read_fitted,
    transformed,
    values_at,
)
from wellring.model.studies.match.matched import Matched, notes, values_of_rows
from wellring.model.studies.read_plan import read_match_plan
from wellring.model.studies.variants import Variant

Floats = NDArray[np.float64]
Say = Callable[[str], None]

STEPS_BEFORE = 4.0
"""A first measurement after a change lies at least so many first time steps after it."""


def match(
    site_file: str | Path,
    out: str | Path | None = None,
    *,
    plan_file: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    solver: str | Path | None = None,
    say: Say | None = None,
    figures: bool = True,
) -> Matched:
    """Fit a site to the measurements of its [match] table, or go on with a fit that was killed.

    Parameters
    ----------
    out : folder of the study (default ``<site>.match`` beside the site file).
    plan_file : TOML with a [match] table to use in place of the site file's.

    Raises
    ------
    InputFaults, SolverMissing, SolverFailed : see :mod:`wellring.inputs.basics.faults`.
    """
    tell = say or (lambda text: None)
    path = Path(site_file)
    site = read_site(path)
    plan, plan_path = read_match_plan(site, plan_file)
    faults = site.fault_log() if plan_file is None else FaultLog()
    rows, digest = read_observations(
        plan.observations, plan_path.parent, site.description, faults, plan_path.name
    )
    scheme, predicted = _schemes(site, plan, plan_path.name, faults)
    folder = Path(out) if out is not None else path.parent / f"{path.stem}.match"
    study = open_study(
        path,
        folder,
        scheme=(scheme, predicted) if site.description.schemes else None,
        solver=solver,
        workers=workers,
        cluster=cluster,
        say=tell,
        time=_time(site, rows),
        observations=rows,
    )
    parameters = read_fitted(plan, study.base, plan_path.name, faults)
    _check_points(study, scheme, predicted, rows, plan.observations, faults)
    done = _fit(study, parameters, rows, scheme, predicted, tell)
    warnings = list(faults.warnings)
    prior, posterior = _draw(study, plan, parameters, done, predicted)
    best = variant_of(parameters, values_at(parameters, done.x), predicted)
    for cases, when in ((prior, "before"), (posterior, "after")):
        if cases.variants:
            tell(f"foretelling {predicted} as it looked {when} the fit")
            study.solve(cases.variants)
    study.solve([best, Variant({}, predicted)])
    matched = Matched(
        study=study,
        plan=plan,
        parameters=parameters,
        rows=rows,
        fit=done,
        scheme=scheme,
        predicted=predicted,
        prior=prior,
        posterior=posterior,
        best=best,
        source={"file": plan.observations, "sha256": digest},
        warnings=warnings,
    )
    matched.warnings += notes(matched)
    from wellring.model.studies.match.match_tables import write_match

    write_match(matched, figures, tell)
    return matched


def _schemes(site: Site, plan: MatchPlan, file: str, faults: FaultLog) -> tuple[str, str]:
    names = [scheme.name for _, scheme in schemes_of(site)]
    for key in ("scheme", "predict"):
        name = getattr(plan, key)
        if name is not None and name not in names:
            remedy = nearest(name, names)
            faults.add(file, f"match.{key}", name, "the name of a scheme", remedy)
    faults.raise_if_any()
    scheme = plan.scheme or names[0]
    return scheme, plan.predict or scheme


def _time(site: Site, rows: Sequence[Observation]) -> Time | None:
    """How the fit is followed in time: not at all where no day was measured.

    The first steps after a change are short enough for the first measurement that follows it.
    """
    time = site.description.time
    days = [item.day for item in rows if item.day is not None]
    if time is None or not days:
        return None
    since = [
        min(
            (day - phase.begins for day in days if phase.begins < day <= phase.ends), default=np.inf
        )
        for phase in phases(site)
    ]
    first = min(time.first_step, min(since) / STEPS_BEFORE)
    return time.model_copy(update={"first_step": float(f"{first:.3g}")})


def _check_points(
    study: Study,
    scheme: str,
    predicted: str,
    rows: Sequence[Observation],
    file: str,
    faults: FaultLog,
) -> None:
    """Names of points and wells that are there in the scheme a row is about."""
    named = [point.name for point in study.base.site.description.points]
    for item in rows:
        layout = study.base.schemes[scheme if item.value is not None else predicted].layout
        wells = [point.name for point in layout.points]
        known = wells if item.kind == "flow" else [*named, *wells]
        if item.point and item.point not in known:
            what = "a well" if item.kind == "flow" else "one of the [[points]], or of a well"
            faults.add(file, "column point", item.point, f"the name of {what} of '"
                       f"{layout.scheme.name}'", nearest(item.point, known), item.line)  # fmt: skip
    faults.raise_if_any()


def _fit(
    study: Study,
    parameters: Sequence[Fitted],
    rows: Sequence[Observation],
    scheme: str,
    predicted: str,
    say: Say,
) -> Fit:
    measured = np.array([np.nan if item.value is None else item.value for item in rows])
    errors = np.array([item.error / item.weight if item.fitted else np.inf for item in rows])

    def solve(points: Sequence[Floats]) -> list[Floats | None]:
        variants = [variant_of(parameters, values_at(parameters, x), scheme) for x in points]
        study.solve(variants)
        outcomes = study.outcomes(variants)
        return [None if o.failed else values_of_rows(o) for o in outcomes]

    try:
        return fit(
            solve,
            transformed(parameters, "start"),
            (transformed(parameters, "low"), transformed(parameters, "high")),
            np.array([item.step for item in parameters]),
            measured,
            errors,
            np.array([item.known for item in parameters]),
            np.array([item.joins for item in parameters]),
            say,
        )
    except NoStart:
        raise _no_start(study, parameters, rows, scheme, errors) from None


def _no_start(
    study: Study,
    parameters: Sequence[Fitted],
    rows: Sequence[Observation],
    scheme: str,
    errors: Floats,
) -> Exception:
    """Why a fit cannot begin: no answer of the solver, or no water where something was measured."""
    start = variant_of(parameters, np.array([item.start for item in parameters]), scheme)
    outcome = study.store.outcome(start)
    if outcome.failed:
        return SolverFailed("the start of the fit", outcome.failed, study.folder)
    values = values_of_rows(outcome)
    stages = tuple(s.name for s in study.base.site.description.excavation.stages)
    faults = study.base.site.fault_log()
    for item, value, error in zip(rows, values, errors, strict=True):
        if np.isfinite(error) and not np.isfinite(value):
            faults.add("the measurements", item.where(stages), item.value,
                       "a place and time at which the model has water",
                       "Check the point's level and the day, or give the row weight 0.",
                       item.line)  # fmt: skip
    try:
        faults.raise_if_any()
    except Exception as found:
        return found
    return SolverFailed("a step of the fit", "no answer on either side of a point", study.folder)


def _draw(
    study: Study, plan: MatchPlan, parameters: Sequence[Fitted], done: Fit, scheme: str
) -> tuple[Cases, Cases]:
    """Cases before and after the fit, as many of each."""
    from scipy.stats import norm, qmc

    p = len(parameters)
    drawn = qmc.LatinHypercube(p, seed=plan.seed).random(plan.cases) if plan.cases else None
    old: list[Variant] = []
    new: list[Variant] = []
    if drawn is not None:
        drawn = np.clip(drawn, 1e-6, 1 - 1e-6)
        low, high = (transformed(parameters, which) for which in ("low", "high"))
        values, vectors = np.linalg.eigh(done.covariance)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        for row in drawn:
            was = [
                float(f"{item.quantile(u):.9g}") for item, u in zip(parameters, row, strict=True)
            ]
            old.append(variant_of(parameters, np.array(was), scheme))
            x = np.clip(done.x + root @ norm.ppf(row), low, high)
            new.append(variant_of(parameters, values_at(parameters, x), scheme))
    return (
        Cases(study=study, variants=old, scheme=scheme),
        Cases(study=study, variants=new, scheme=scheme),
    )
