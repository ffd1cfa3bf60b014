"""Sensitivity and uncertainty of a site: many cases drawn from what is not well known."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.read_site import read_site
from wellring.inputs.site.vary_plan import VaryPlan
from wellring.model.studies.cases import Cases, variant_of
from wellring.model.studies.engine import open_study
from wellring.model.studies.frames import answer_names
from wellring.model.studies.read_plan import read_limits, read_plan
from wellring.model.studies.variants import Variant
from wellring.model.studies.vary.designs import (
    HIGH,
    LOW,
    REALISATION,
    Uncertain,
    draw,
    read_parameters,
    values_of,
)
from wellring.model.studies.vary.sensitivity import Indices, rank_correlations, variance_indices
from wellring.postprocess.neighbours.chances import Chance, cases_needed, chance
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.report.report_page import REPORT_FILE
from wellring.postprocess.run.answer import counted
from wellring.postprocess.run.tables import write_frame

Floats = NDArray[np.float64]


@dataclass(kw_only=True)
class Varied(Cases):
    """The cases of a [vary] table and what came of them.

    `points` (cases, parameters) are quantiles; `variants` in the same order, without the base.
    """

    plan: VaryPlan
    parameters: list[Uncertain]
    points: Floats
    warnings: list[str] = field(default_factory=list)
    not_written: list[str] = field(default_factory=list)
    """Figures, layers and pages that could not be written, one sentence each."""

    @property
    def drawn(self) -> bool:
        """Whether the cases are a sample, so that chances can be told from them."""
        return self.plan.design not in ("one at a time", "indices")

    def chances(self) -> dict[str, Chance]:
        """Limit → the chance that it fails; of sampled designs only."""
        if self.plan.design == "indices":  # matrices A and B are samples, the mixed rows are not
            count = 2 * len(self.points) // (len(self.parameters) + 2)
            solved = np.flatnonzero([not o.failed for o in self.outcomes])
            keep = solved < count
            return {name: chance(fails[keep]) for name, fails in self.fails().items()}
        return super().chances() if self.drawn else {}

    def indices(self, name: str) -> Indices | None:
        """Shares of an answer's variance; only of design "indices"."""
        if self.plan.design != "indices":
            return None
        return variance_indices(self.values(name), len(self.parameters), self.plan.seed)

    def swings(self, name: str) -> Floats:
        """An answer at the low and the high end of each parameter, (d, 2): the tornado.

        Of "one at a time" as solved; else the means of the answer's lowest and highest tenth
        along each parameter.
        """
        values = self.values(name)
        if self.plan.design == "one at a time":
            return values.reshape(-1, 2)
        found = []
        for column in self.points.T:
            low, high = column <= np.quantile(column, LOW), column >= np.quantile(column, HIGH)
            found.append([_mean(values[low]), _mean(values[high])])
        return np.array(found)

    def correlations(self, name: str) -> Floats:
        """Spearman's rank correlation (d,) of each parameter with an answer."""
        return rank_correlations(self.points, self.values(name))

    def worst(self, count: int = 5) -> list[tuple[int, int, float]]:
        """Cases that break most limits, then stand wettest: (case, limits broken, margin [m])."""
        name = next((n for n in self.headlines if n.endswith("dry_margin")), "")
        ranked = []
        for index, outcome in enumerate(self.outcomes):
            if outcome.failed:
                continue
            broken = sum(a.get("ok") is False for a in outcome.answers.values())
            broken += sum(
                (outcome.answers.get(n, {}).get("value") or 0.0) > most
                for n, most in self.limits.items()
            )
            margin = outcome.answers.get(name, {}).get("value")
            ranked.append((index, broken, float(margin) if margin is not None else float("nan")))
        return sorted(ranked, key=lambda item: (-item[1], item[2]))[:count]

    @property
    def exit_code(self) -> int:
        """0 where no limit fails in any case, 1 where some does, 3 where nothing was solved."""
        if all(outcome.failed for outcome in self.outcomes):
            return 3
        return int(any(fails.any() for fails in self.fails().values()))

    def as_json(self) -> dict[str, Any]:
        """What vary.json holds."""
        paths = [parameter.path for parameter in self.parameters]
        answers = {}
        for name in self.headlines:
            values = self.values(name)
            values = values[np.isfinite(values)]
            shares = self.indices(name)
            answers[name] = {
                "label": self.label(name)[0],
                "unit": self.label(name)[1],
                "base": self.base.answers.get(name, {}).get("value"),
                "p05": float(np.quantile(values, 0.05)),
                "median": float(np.median(values)),
                "p95": float(np.quantile(values, 0.95)),
                "rank_correlation": dict(zip(paths, _plain(self.correlations(name)), strict=True)),
                "low_high": dict(zip(paths, [_plain(r) for r in self.swings(name)], strict=True)),
                "variance_first": dict(zip(paths, _plain(shares.first), strict=True))
                if shares
                else None,
                "variance_total": dict(zip(paths, _plain(shares.total), strict=True))
                if shares
                else None,
            }
        return {
            "site": self.study.base.site.name,
            "scheme": self.scheme,
            "design": self.plan.design,
            "cases": len(self.variants),
            "failed": sum(bool(o.failed) for o in self.outcomes),
            "parameters": {p.path: p.text for p in self.parameters},
            "answers": answers,
            "chances": {
                name: {"chance": c.value, "low": c.low, "high": c.high, "cases": c.cases,
                       "cases_for_5_percent": cases_needed(c.value)}
                for name, c in self.chances().items()
            },
            "worst": [
                {"case": i, "limits_broken": broken, "overrides": dict(self.variants[i].overrides)}
                for i, broken, _ in self.worst()
            ],
            "warnings": self.warnings,
        }  # fmt: skip

    def text(self) -> str:
        """Everything in words for a terminal, in SI."""
        told = self.as_json()
        lines = [
            f"{told['site']} — {self.scheme}: {counted(told['cases'], 'cases')} "
            f"({self.plan.design}), {told['failed']} without an answer",
            *(f"  {path}: {text}" for path, text in told["parameters"].items()),
        ]
        for answer in told["answers"].values():
            unit = answer["unit"]
            lines += ["", f"{answer['label']} [{unit}]: base {_short(answer['base'])}, "
                      f"5 % {_short(answer['p05'])}, median {_short(answer['median'])}, "
                      f"95 % {_short(answer['p95'])}"]  # fmt: skip
            for path, (low, high) in answer["low_high"].items():
                row = f"  {path}: {_short(low)} to {_short(high)}"
                if answer["variance_first"]:
                    first, total = answer["variance_first"][path], answer["variance_total"][path]
                    row += f", {first:.0%} of the variance, {total:.0%} with interactions"
                lines.append(row)
        if self.chances():
            lines += ["", "Chance that a limit fails (95 % interval)"]
            for name, found in self.chances().items():
                lines.append(f"  {name}: {found.text()}")
            worst = max(self.chances().values(), key=lambda c: c.high - c.low)
            lines.append(
                f"  the widest interval spans {worst.high - worst.low:.0%}; ± 5 % takes about "
                f"{cases_needed(worst.value)} cases (there are {worst.cases})"
            )
        lines += ["", "Worst cases"]
        for item in told["worst"]:
            inputs = ", ".join(f"{p} {_short(v)}" for p, v in item["overrides"].items())
            broken = counted(item["limits_broken"], "limits")
            lines.append(f"  case {item['case']}, {broken} broken: {inputs}")
        lines += [f"Note: {text}" for text in self.warnings]
        return "\n".join(lines) + "\n"


def _mean(values: Floats) -> float:
    values = values[np.isfinite(values)]
    return float(values.mean()) if values.size else float("nan")


def _plain(values: Floats) -> list[float | None]:
    return [float(v) if np.isfinite(v) else None for v in np.asarray(values)]


def _short(value: float | None) -> str:
    return "–" if value is None else f"{value:.4g}"


def vary(
    site_file: str | Path,
    out: str | Path | None = None,
    *,
    plan_file: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    solver: str | Path | None = None,
    say: Callable[[str], None] | None = None,
    figures: bool = True,
) -> Varied:
    """Solve the cases of a site's [vary] table, or take up a study that was killed.

    Parameters
    ----------
    out : folder of the study (default ``<site>.vary`` beside the site file).
    plan_file : TOML with a [vary] table to use in place of the site file's.

    Raises
    ------
    InputFaults, SolverMissing, SolverFailed : see :mod:`wellring.inputs.basics.faults`.
    """
    path = Path(site_file)
    site = read_site(path)
    plan, description = read_plan(site, plan_file), site.description
    folder = Path(out) if out is not None else path.parent / f"{path.stem}.vary"
    scheme = plan.scheme or (description.schemes[0].name if description.schemes else None)
    study = open_study(
        path, folder, scheme=scheme, solver=solver, workers=workers, cluster=cluster, say=say
    )
    name = next(iter(study.base.schemes))
    parameters = read_parameters(plan, study.base)
    faults = study.base.site.fault_log()
    points = draw(plan, parameters, faults, path.name)
    variants = [variant_of(parameters, values_of(parameters, row), name) for row in points]
    done = Varied(
        study=study,
        variants=variants,
        scheme=name,
        plan=plan,
        parameters=parameters,
        points=points,
    )
    study.solve([Variant({}, name)])
    done.limits = read_limits(plan, answer_names([done.base]), faults, path.name)
    study.solve(variants)
    done.warnings = _notes(done, followed=description.time is not None)
    _write(done, figures, say or (lambda text: None))
    return done


def _notes(done: Varied, followed: bool) -> list[str]:
    found = []
    failed = [o.failed for o in done.outcomes if o.failed]
    if failed:
        found.append(
            f"{len(failed)} of {len(done.outcomes)} cases gave no answer and are left out of all "
            f"numbers, which may flatter them; the first: {failed[0]}"
        )
    if done.plan.design in ("latin hypercube", "sobol"):
        found.append(
            "the intervals of chances are those of plain random cases; with this design they are, "
            "as a rule, a little too wide"
        )
    if any(p.path == ".".join(REALISATION) for p in done.parameters):
        found.append(
            "realisations of the layers have no order: how much they move an answer is its share "
            'of the variance (design = "indices"), not what "low" and "high" say of them'
        )
    if followed:
        found.append("cases are steady stages; what is followed in time has no part in them")
    return found


def _write(done: Varied, figures: bool, say: Callable[[str], None]) -> None:
    folder = done.study.folder
    write_frame(folder / "vary.csv", done.frame.rename_axis("case").reset_index())
    text = json.dumps(done.as_json(), ensure_ascii=False, indent=1)
    (folder / "vary.json").write_text(text, encoding="utf-8")
    (folder / "vary.txt").write_text(done.text(), encoding="utf-8")
    if not figures or all(outcome.failed for outcome in done.outcomes):
        return
    failed = NotWritten()
    maps = None
    if done.drawn:
        from wellring.model.studies.vary.chance_maps import chance_maps, write_chance_maps

        say("writing maps of chance")
        with failed.item("maps of chance"):
            maps = chance_maps(done)
            write_chance_maps(maps, done.study.base.site.crs, folder / "maps")
    if done.headlines:
        from wellring.model.studies.vary.draw_vary import draw_vary

        say("drawing figures")
        with failed.item("figures"):
            draw_vary(done, folder, failed)
    say("writing the report")
    from wellring.model.studies.vary.vary_page import vary_page

    with failed.item(REPORT_FILE):
        vary_page(done, maps).write(folder / REPORT_FILE)
    done.not_written = failed.items
