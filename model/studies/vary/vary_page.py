"""The report of varied cases: chances, what drives each answer, and maps of chance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.model.studies.frames import answer_names
from wellring.model.studies.study_basis import basis_of
from wellring.model.studies.variants import Variant
from wellring.postprocess.neighbours.chances import cases_needed, chance
from wellring.postprocess.report.report_fields import shown_as
from wellring.postprocess.report.report_page import Page
from wellring.postprocess.report.report_plan import Sheet, plans_data
from wellring.postprocess.report.report_sections import Sections, Subject
from wellring.postprocess.report.report_tables import plain_table
from wellring.postprocess.report_headlines import NO, OPEN, WATCH, YES, Headline
from wellring.postprocess.run.answer import Curves, Part, PlanLayer, Spans

if TYPE_CHECKING:
    from wellring.model.studies.vary.chance_maps import ChanceMaps
    from wellring.model.studies.vary.vary import Varied

ANY = "any limit"
STEPS = 40
"""Points of the curve that tells how a chance settles with the number of cases."""


def vary_page(done: Varied, maps: ChanceMaps | None) -> Page:
    """The study as a page; `maps` where its cases are a sample."""
    base = done.study.base
    site, layout = base.site, base.schemes[done.scheme].layout
    show = site.description.site.show
    stages = [] if maps is None else [(s.folder, s.name) for s in maps.run.ledger.stages]
    sections = Sections(show, dict(stages))
    parts = [part for part in (_chances(done), *(_answer(done, n) for n in done.headlines)) if part]
    lead = [sections.part(part, unfolded=2) for part in parts]
    failing = int(done.fails().get(ANY, np.zeros(0, bool)).sum())
    solved = sum(not outcome.failed for outcome in done.outcomes)
    return Page(
        kind="what is not well known, varied",
        about=[("Scheme", done.scheme), ("Cases", f"{len(done.variants)} ({done.plan.design})")],
        told=f"Some limit fails in {failing} of {solved} cases."
        if failing
        else f"No limit fails in any of {solved} cases.",
        verdict=done.exit_code == 0,
        headlines=_headlines(done),
        warnings=done.warnings,
        lead=lead,
        charts=sections.charts,
        stages=stages,
        plans=[] if maps is None else plans_data([_sheet(done, maps)]),
        subjects=[_parameters(done), _worst(done)],
        method=[
            f"{len(done.variants)} cases of '{done.scheme}' ({done.plan.design}, seed "
            f"{done.plan.seed}), each solved by MODFLOW 6 {base.solver.version} as a run of its "
            f"own for the steady state of every stage, on {int(layout.ground.active.sum()):,} "
            "cells. A chance is the share of cases that fail, with its exact interval at 95 % "
            "(Clopper and Pearson). It speaks of the parameters below and of nothing else.",
        ],
        **basis_of(done.study, done.scheme),
    )


def _headlines(done: Varied) -> list[Headline]:
    chances = done.chances()
    found = []
    limits = {name: item for name, item in chances.items() if name != ANY}
    if ANY in chances:
        likely = max(limits, key=lambda name: limits[name].value)
        text = f"Some limit fails with a chance of {chances[ANY].text()}. Most often: {likely}, "
        text += f"{limits[likely].text()}."
        verdict = NO
        if not chances[ANY].failing:
            verdict = YES
            text = f"In all {chances[ANY].cases} cases; the chance that one fails is at most "
            text += f"{chances[ANY].high:.0%}."
        found.append(Headline("Do the limits hold?", verdict, text, "share of cases, 95 %"))
    elif not done.drawn:
        text = (
            "Not told: one parameter is moved at a time, which shows what matters, not how likely."
        )
        found.append(Headline("How likely is it that a limit fails?", OPEN, text, "design"))
    driven = []
    for name in done.headlines:
        width = np.nan_to_num(np.ptp(done.swings(name), axis=1))
        if width.size and width.max() > 0:
            driven.append(f"{done.label(name)[0]}: {done.parameters[int(width.argmax())].path}")
    if driven:
        text = "; ".join(driven)
        found.append(Headline("What drives it?", WATCH, f"{text}.", "widest bar of each answer"))
    if chances:
        wide = max(chances.values(), key=lambda item: item.high - item.low)
        need = cases_needed(wide.value)
        enough = wide.cases >= need
        text = (
            f"The least known chance is {wide.low:.0%} to {wide.high:.0%}. To know it to ± 5 % "
            f"takes about {need} cases; there are {wide.cases}."
        )
        verdict = YES if enough else WATCH
        found.append(Headline("Are the cases enough?", verdict, text, "95 % interval"))
    text = (
        "The chances are those of the parameters that were varied, with the spreads that were "
        "given. Layers, walls' flaws and the model itself were not varied unless listed below."
    )
    found.append(Headline("How sure is that?", WATCH, text, ""))
    return found


def _chances(done: Varied) -> Part | None:
    chances = done.chances()
    if not chances:
        return None
    order = sorted(chances, key=lambda name: (name != ANY, -chances[name].value))
    rows = {name: (chances[name].low, chances[name].value, chances[name].high) for name in order}
    spans = Spans(
        "Chance that a limit fails", "share", rows, ("lower bound, 95 %", "upper bound, 95 %"),
        "share of cases",
    )  # fmt: skip
    part = Part(title="Chances", spans={"chances": spans})
    part.tables["chances"] = (
        ["limit", "chance [%]", "from [%]", "to [%]", "failing", "cases", "cases for ± 5 %"],
        [
            [name, 100 * chances[name].value, 100 * chances[name].low, 100 * chances[name].high,
             chances[name].failing, chances[name].cases, cases_needed(chances[name].value)]
            for name in order
        ],
    )  # fmt: skip
    if done.drawn:
        fails = done.fails()[ANY]
        counts = np.unique(np.linspace(1, fails.size, min(fails.size, STEPS)).astype(int))
        run = [chance(fails[:n]) for n in counts]
        part.series["settling"] = Curves(
            "Chance that any limit fails, by the number of cases",
            "share",
            counts.astype(float),
            {
                "share of cases": np.array([item.value for item in run]),
                "lower bound, 95 %": np.array([item.low for item in run]),
                "upper bound, 95 %": np.array([item.high for item in run]),
            },
            axis="cases",
        )
    return part


def _answer(done: Varied, name: str) -> Part:
    """What moves one answer, and how it is distributed."""
    entry = answer_names([done.base, *done.outcomes])[name]
    label, kind, unit = entry["label"], entry.get("kind", ""), entry["unit"]
    base = done.base.answers.get(name, {}).get("value")
    swings = done.swings(name)
    middle = swings.mean(axis=1) if base is None else np.full(len(swings), float(base))
    order = np.argsort(-np.nan_to_num(np.ptp(swings, axis=1)))
    rows = {
        done.parameters[i].path: (float(swings[i, 0]), float(middle[i]), float(swings[i, 1]))
        for i in order
    }
    limit = done.limits.get(name, done.base.answers.get(name, {}).get("limit"))
    values = np.sort(done.values(name)[np.isfinite(done.values(name))])
    near = 3 * float(np.ptp(values))
    marks = {} if base is None else {"as described": float(base)}
    if isinstance(limit, int | float) and values[0] - near < limit < values[-1] + near:
        marks["limit"] = float(limit)
    alone = done.plan.design == "one at a time"
    ends = ("parameter at its 10 %", "parameter at its 90 %")
    if not alone:
        ends = ("mean where the parameter is low", "mean where it is high")
    part = Part(title=label)
    part.spans["tornado"] = Spans(
        f"What moves it: {label}", kind, rows, ends, "as described", unit,
        {"limit": marks["limit"]} if "limit" in marks else {},
    )  # fmt: skip
    if done.drawn and values.size:
        part.series["distribution"] = Curves(
            f"Share of cases below: {label}",
            "share",
            values,
            {"share of cases below": np.arange(1, values.size + 1) / values.size},
            axis="" if shown_as(kind, "metric").unit else unit,
            axis_kind=kind,
            marks=marks,
            stepped=True,
        )
    correlations, shares = done.correlations(name), done.indices(name)
    head = ["parameter", f"low [{unit}]", f"high [{unit}]", "rank correlation"]
    table: list[Sequence[object]] = [
        [done.parameters[i].path, float(swings[i, 0]), float(swings[i, 1]), float(correlations[i])]
        for i in order
    ]
    if shares is not None:
        head += ["share of the variance", "with interactions"]
        table = [
            [*row, float(shares.first[i]), float(shares.total[i])]
            for row, i in zip(table, order, strict=True)
        ]
    part.tables["what_moves_it"] = (head, table)
    return part


def _sheet(done: Varied, maps: ChanceMaps) -> Sheet:
    show = maps.run.ledger.show
    layers = {
        f"chance_{name}": PlanLayer(
            f"Chance of more than {_depth(name, maps.beyond[name], show)} {name}",
            "share",
            {entry.folder: field for entry, field in maps.of_stages(name)},
        )
        for name in maps.shares
    }
    fields = done.study.store.fields(Variant({}, done.scheme))
    for name, kind in (("drawdown", "length"), ("settlement", "settlement")):
        if name in fields:
            layers[name] = PlanLayer(
                f"{name.capitalize()} of the site as described",
                kind,
                {
                    entry.folder: np.where(maps.modelled, field, np.nan)
                    for entry, field in zip(maps.run.ledger.stages, fields[name], strict=True)
                },
            )
    return Sheet(maps.run, layers)


def _depth(name: str, depth: float, show: str) -> str:
    return shown("settlement" if name == "settlement" else "length", show).text(depth)


def _parameters(done: Varied) -> Subject:
    rows = [[p.path, ", ".join(p.others) or "", p.text] for p in done.parameters]
    table = plain_table("parameters", ["parameter", "moved with it", "how it varies"], rows)
    return Subject("What was varied", "s-varied", [table])


def _worst(done: Varied) -> Subject:
    head = ["case", "limits broken", *(p.path for p in done.parameters)]
    rows = [
        [case, broken, *(done.variants[case].overrides.get(p.path) for p in done.parameters)]
        for case, broken, _ in done.worst()
    ]
    return Subject("The worst cases", "s-worst", [plain_table("worst_cases", head, rows)])
