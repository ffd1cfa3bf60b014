"""The report of a sizing: the answer, the wells on the plan, what the model confirms, what blocks.

That of a sweep: water and flow over spacing or count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import shown
from wellring.model.grid.grid_sizes import formations
from wellring.model.runs.stages import stage_folder_name
from wellring.model.studies.sizing.controls import FLOOR, FLOW, LEVEL
from wellring.model.studies.study_basis import basis_of
from wellring.model.studies.unsolved_run import unsolved_run
from wellring.postprocess.report.report_page import Page
from wellring.postprocess.report.report_plan import Sheet, plans_data
from wellring.postprocess.report.report_sections import Sections, Subject
from wellring.postprocess.report_headlines import NO, WATCH, YES, Headline
from wellring.postprocess.run.answer import Answer, Curves, Part, PlanLayer, Spans, Table

if TYPE_CHECKING:
    from wellring.model.layouts.layout import Layout
    from wellring.model.studies.sizing.result import Sized
    from wellring.model.studies.sizing.search import Step
    from wellring.model.studies.sizing.sweep import Swept

BASIS = "MODFLOW 6 with these flows"
NOTHING_TO_SPARE = (
    "Least pumping has nothing to spare. The ground is uncertain, wells clog and fail: vary the "
    "soil, take single wells out, keep standby pumps and power."
)
METHOD = (
    "Unit responses of the limits to each well's flow, one solve a well; linear programmes (with "
    "whole numbers for wells and costs) by HiGHS; each answer solved by MODFLOW 6 and taken only "
    "when its own answers hold; responses learnt from every step (Broyden)."
)


def size_page(done: Sized) -> Page:
    """A sizing as a page."""
    layout = done.study.base.schemes[done.scheme].layout
    show = layout.site.description.site.show
    stages = _stages(layout)
    sections = Sections(show, stages)
    lead = _lead(done, sections, stages)
    text = done.blocked_text()
    return Page(
        kind="pumping sized by the model",
        about=[("Scheme", done.scheme)]
        + ([("New scheme", done.new_scheme)] if done.written else []),
        told=done.verdict_text() if done.found else text,
        verdict=done.exit_code == 0,
        headlines=_headlines(done, show),
        warnings=done.warnings,
        lead=lead,
        charts=sections.charts,
        stages=list(stages.items()),
        plans=plans_data([_sheet(done, layout)]) if done.step else [],
        method=[
            f"{done.search.solves} solves of the model, at most {done.search.most_solves}. {METHOD}"
        ],
        cautions=[NOTHING_TO_SPARE],
        **basis_of(done.study, done.scheme),
    )


def _stages(layout: Layout) -> dict[str, str]:
    given = layout.site.description.excavation.stages
    return {stage_folder_name(i + 1, stage.name): stage.name for i, stage in enumerate(given)}


def _headlines(done: Sized, show: str) -> list[Headline]:
    step, flow, length = done.step, shown("flow", show), shown("length", show)
    asked = {
        "pumping": "How little pumping keeps all limits?",
        "wells": "How few wells keep all limits?",
        "cost": "How cheaply are all limits kept?",
    }[done.search.goal]
    if step is None:
        return [Headline(asked, NO, "No flows were found that the model answers.", "")]
    used = int((step.flows > 0).any(axis=0).sum())
    of = len(done.rows.candidates)
    peak = flow.text(float(step.flows.sum(axis=1).max()))
    word = YES if done.found else NO
    found = [
        Headline(
            asked, word,
            f"{used} of {of} wells, {peak} in the stage that needs most. {done.verdict_text()}"
            if done.found else done.blocked_text(),
            BASIS,
        )
    ]  # fmt: skip
    margins = {
        name: answer
        for name, answer in step.outcome.answers.items()
        if name.endswith(".dry_margin") and answer["value"] is not None
    }
    if margins:
        told = [f"{a['label'].partition(':')[0]} {length.text(a['value'], 3)}" for a in
                margins.values()]  # fmt: skip
        needed = length.text(next(iter(margins.values()))["limit"])
        wet = any(a["ok"] is False for a in margins.values())
        text = f"Water below formation: {'; '.join(told)}; {needed} are needed."
        found.append(Headline("Does the dig stay dry?", NO if wet else YES, text, BASIS))
    answers = step.outcome.answers
    broken = [str(answers[name]["label"]) for name in step.broken if name in answers]
    text = "All limits of the site hold." if not broken else (
        f"{len(broken)} fail: {'; '.join(broken[:5])}{' …' if len(broken) > 5 else '.'}"
    )  # fmt: skip
    found.append(Headline("Do all limits hold?", NO if broken else YES, text, BASIS))
    most = done.at_their_most()
    if most:
        wells = ", ".join(f"{name} ({what})" for name, what in list(most.items())[:8])
        text = f"{len(most)} in some stage: {wells}{' …' if len(most) > 8 else '.'}"
        found.append(Headline("Which wells give all they can?", WATCH, text, "pump, screen, level"))
    found.append(Headline("How sure is that?", WATCH, NOTHING_TO_SPARE, ""))
    return found


def _lead(done: Sized, sections: Sections, stages: dict[str, str]) -> list[Subject]:
    lead = []
    blockers = done.blockers()

    def said(text: str) -> str:
        return shown_text(text, sections.system)

    if blockers:
        table: Table = (
            ["limit", "passed by", "where"],
            [[said(b.text), said(b.amount()), said(b.where.strip())] for b in blockers],
        )
        lead.append(sections.subject("What blocks", tables={"blocked_by": table}))
    totals = done.totals()
    part = Part(title="Pumping by stage")
    number = len(done.search.stages)
    part.spans = {
        "pumping": Spans(
            "All wells of a stage",
            "flow",
            {
                f"{stage}, {name}": (0.0, float(item[s]), float(item[s]))
                for s, stage in enumerate(done.search.stages)
                for name, item in totals.items()
            },
            ("no pumping", "what is pumped"),
            "what is pumped",
        )
    }
    head = ["stage", *(f"{name} [m3/s]" for name in totals)]
    rows: list[Sequence[object]] = [
        [done.search.stages[s], *(float(item[s]) for item in totals.values())]
        for s in range(number)
    ]
    rows.append(["all added up", *(float(item.sum()) for item in totals.values())])
    part.tables["by_stage"] = (head, rows)
    lead.append(sections.part(part))
    lead.append(sections.subject("Wells", tables={"wells": _wells(done)}))
    lead.append(sections.subject("Confirmed by the model", tables={"steps": _steps(done)}))
    if done.step is not None:
        told = {name: _answer(entry) for name, entry in done.step.outcome.answers.items()
                if entry.get("limit") is not None}  # fmt: skip
        lead.append(sections.subject("Limits with these flows", [told]))
    return lead


def _answer(entry: dict[str, object]) -> Answer:
    known = {key: entry.get(key) for key in ("value", "unit", "basis", "label", "limit", "ok")}
    return Answer(kind=str(entry.get("kind") or ""), **known)  # type: ignore[arg-type]


def _wells(done: Sized) -> Table:
    """A row a candidate: the most it could give with a full screen, and its flow in each stage."""
    step, stages = done.step, done.search.stages
    head = ["well", "x [m]", "y [m]", "lowest level [m]", "limit, full screen [m3/s]",
            *(f"{stage} [m3/s]" for stage in stages), "governed by"]  # fmt: skip
    most = set(done.at_their_most())
    rows: list[Sequence[object]] = []
    for i, candidate in enumerate(done.rows.candidates):
        flows = [
            None if step is None or not candidate.works(s) else float(step.flows[s, i])
            for s in range(len(stages))
        ]
        used = any(flow for flow in flows)
        why = "not needed" if not used else "its own limit" if candidate.name in most else "sized"
        point = candidate.point
        rows.append([candidate.name, point.x, point.y, point.lowest, done.most_of(i), *flows, why])
    return head, rows


def _steps(done: Sized) -> Table:
    """A row a solved set of flows: what water under the floor is lower than it must be, as expected
    and as the model has it."""
    site = done.study.base.site
    needed = site.description.excavation.clearance
    unit = shown("settlement", site.description.site.show)  # small depths: mm or inches

    def spare(margin: float | None) -> float | None:
        return None if margin is None else round(unit.number(margin - needed), unit.digits + 1)

    head = ["flows", "all stages added up [m3/s]"]
    for stage in done.search.stages:
        head += [f"{stage}: {what} [{unit.unit}]" for what in ("to spare, expected", "as modelled")]
    head.append("judged")
    rows: list[Sequence[object]] = []
    levels = formations(site)
    solved: list[Step] = [s for s in (done.search.start,) if s is not None]
    for step in [*solved, *done.search.steps, *done.search.equal]:
        if step.outcome.failed:
            rows.append([step.what, step.total, *([None] * (2 * len(levels))), "no answer"])
            continue
        row: list[object] = [step.what, step.total]
        for s, judged in enumerate(done.rows.stages):
            hoped = judged.margin(step.expected[s], levels[s]) if step.expected else None
            row += [spare(hoped), spare(judged.margin(step.point.rows[s], levels[s]))]
        rows.append([*row, step.words()])
    return head, rows


def _sheet(done: Sized, layout: Layout) -> Sheet:
    """The plan: each well's flow in each stage, and the water under the floor."""
    step = done.step
    assert step is not None
    run = unsolved_run(layout, done.study.folder)
    ledger, fields = run.ledger, step.outcome.fields
    sized = {candidate.index: i for i, candidate in enumerate(done.rows.candidates)}
    wells = []
    for index, well in enumerate(ledger.wells):
        flows = fields[FLOW][:, index].tolist()
        levels = [v if np.isfinite(v) else None for v in fields[LEVEL][:, index].tolist()]
        rule = "the flow sized" if index in sized else "its own rules"
        use = [rule if abs(flow) > 0 else "not used" for flow in flows]
        wells.append(replace(well, flow=flows, level=levels, governing=use))
    run.__dict__["ledger"] = replace(ledger, wells=wells)
    levels_of: list[float] = formations(layout.site)
    below: dict[str, NDArray[np.float64]] = {
        entry.folder: levels_of[s] - fields[FLOOR][s] for s, entry in enumerate(ledger.stages)
    }
    layer = PlanLayer("Water below formation, under the floor", "length", below)
    idle = {
        c.name: "not needed"
        for i, c in enumerate(done.rows.candidates)
        if not step.flows[:, i].any()
    }
    return Sheet(run, {"below_formation": layer}, wells=idle)


def sweep_page(done: Swept) -> Page:
    """A sweep as a page."""
    site = done.study.base.site
    show = site.description.site.show
    length, flow = shown("length", show), shown("flow", show)
    sections = Sections(show, {})
    solved = [case for case in done.cases if case.margin is not None]
    solved.sort(key=lambda case: case.value)
    x = np.array([case.value for case in solved])
    needed = np.full(x.size, site.description.excavation.clearance)
    axis = ("spacing", "length") if done.kind == "spacing" else ("points", "")
    part = Part(title="Water and flow")
    if solved:
        margins = np.array([case.margin for case in solved], dtype=float)
        flows = np.array([case.flow or np.nan for case in solved])
        part.series = {
            "margin": Curves("Least water below formation", "length", x,
                             {"modelled": margins, "needed": needed}, *axis),
            "flow": Curves("Largest flow of all stages", "flow", x, {"all points": flows}, *axis),
        }  # fmt: skip
    currency = next((c.currency for c in done.cases if c.currency), "")
    cost = f"cost [{currency}]" if currency else "cost"
    head = [f"{done.kind} [m]" if done.kind == "spacing" else done.kind, "points", "dry",
            "least water below formation [m]", "largest flow [m3/s]", cost,
            "fails on"]  # fmt: skip
    part.tables["cases"] = (
        head,
        [
            [c.value, c.points, "yes" if c.dry else "no", c.margin, c.flow, c.cost,
             c.outcome.failed or "; ".join(c.broken)]
            for c in done.cases
        ],
    )  # fmt: skip
    best = done.best
    word = "widest" if done.kind == "spacing" else "fewest"
    asked = f"Which {done.kind} is the {word} that keeps the dig dry?"
    if best is None:
        first = Headline(
            asked, NO, "None of those tried: go closer, deeper, or another way.", BASIS
        )
    else:
        value = length.text(best.value) if done.kind == "spacing" else f"{best.points} points"
        text = (
            f"{value}: {best.points} points, water {length.text(best.margin)} below formation at "
            f"least, {flow.text(best.flow)} at most."
        )
        first = Headline(asked, YES, text, BASIS)
    found = [first]
    if best is not None and best.broken:
        text = f"{len(best.broken)} fail: {'; '.join(best.broken[:5])}."
        found.append(Headline("Do all limits hold?", NO, text, BASIS))
    found.append(Headline("How sure is that?", WATCH, NOTHING_TO_SPARE, ""))
    return Page(
        kind=f"{done.kind} of points, swept",
        about=[("Scheme", done.scheme), ("Points", done.table)],
        told=first.sentence,
        verdict=done.exit_code == 0,
        headlines=found,
        warnings=done.warnings,
        lead=[sections.part(part)],
        charts=sections.charts,
        method=[f"{len(done.cases)} cases, each solved by MODFLOW 6 on a grid of its own."],
        cautions=[NOTHING_TO_SPARE],
        **basis_of(done.study, done.scheme),
    )
