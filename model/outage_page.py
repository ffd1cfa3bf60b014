"""The report of an outage: how the pit fills, whether standby power is in time, one well out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellring.inputs.units import shown
from wellring.model.one_out import OneOut
from wellring.postprocess.answer import Curves, Part
from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.flood_answers import CAUTION, METHOD, FloodAnswers, hours_text
from wellring.postprocess.flooding import FILM, Flooding
from wellring.postprocess.ledger import StageEntry
from wellring.postprocess.report import assumptions_of, method_of, provenance_of_page
from wellring.postprocess.report_fields import plan_layers
from wellring.postprocess.report_headlines import NO, OPEN, WATCH, YES, Headline
from wellring.postprocess.report_page import Page
from wellring.postprocess.report_plan import Sheet, plans_data
from wellring.postprocess.report_section import section_data
from wellring.postprocess.report_sections import Sections, Subject
from wellring.postprocess.report_tables import Cell, PageTable
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results
from wellring.postprocess.standby import BASIS as STANDBY_BASIS
from wellring.postprocess.standby import StandbyNeed


def outage_page(
    run: RunFolder,
    stage: StageEntry,
    flooding: Flooding,
    answers: FloodAnswers,
    singles: Sequence[OneOut] | None,
    need: StandbyNeed | None,
) -> Page:
    """The outage as a page.

    Parameters
    ----------
    run, stage : the steady stage in which the pumps stop.
    singles : what one unit out of work means; None where it was not asked for.
    need : what must stand by; None where only some pumps stop.
    """
    ledger, show = run.ledger, run.ledger.show
    upto = ledger.stages.index(stage) + 1
    results, cuts = read_results(run)[:upto], pit_cuts(run)
    sections = Sections(show, {})
    lead = [sections.part(_filling(flooding, answers), unfolded=1)]
    lead[0].tables.insert(0, _moments(answers))
    if singles is not None:
        lead.append(Subject("One well out", "s-one-out", [_one_out(singles, show)]))
    told = _wells(run, answers, singles, show)
    sheet = Sheet(run, plan_layers(run, results), results, cuts=cuts, wells=told)
    return Page(
        kind="the pumps stop",
        site=ledger.site,
        about=[("Scheme", ledger.scheme), ("Stage", stage.name)],
        told=_told(answers),
        verdict=answers.standby_ok,
        invented=ledger.invented,
        system=show,
        headlines=_headlines(answers, singles, need, show),
        warnings=answers.cautions,
        lead=lead,
        charts=sections.charts,
        stages=[(item.folder, item.name) for item in ledger.stages[:upto]],
        plans=plans_data([sheet]),
        section=section_data(run, results, cuts),
        method=[f"{METHOD}. It is followed for {answers.days:g} days.", method_of(run)],
        assumptions=assumptions_of(run),
        cautions=[CAUTION],
        **provenance_of_page(run.provenance),
    )


def _told(answers: FloodAnswers) -> str:
    if answers.standby_ok is None:
        if answers.start_by is None:
            return f"The water does not reach formation within {answers.days:g} days."
        return f"The water is at formation {hours_text(answers.start_by)} after the pumps stop."
    return "Standby power is in time." if answers.standby_ok else "Standby power is too late."


def _headlines(
    answers: FloodAnswers, singles: Sequence[OneOut] | None, need: StandbyNeed | None, show: str
) -> list[Headline]:
    flow = shown("flow", show)
    verdict = {True: YES, False: NO, None: OPEN}[answers.standby_ok]
    text = answers.standby_text()
    if answers.standby_ok is None:
        text += " Tell the hours until standby power runs (--standby) to have it judged."
    found = [Headline("Is standby power in time?", verdict, text, METHOD)]
    if need is not None:
        word = {True: WATCH, False: NO, None: OPEN}[need.enough]
        found.append(Headline("What must stand by?", word, need.text(), STANDBY_BASIS))
    floods = [m for m in answers.moments if m.what.startswith("floor ")]
    if floods:
        never = f"not within {answers.days:g} days"
        told = [
            f"{m.what}: {never if m.hours is None else 'after ' + hours_text(m.hours)}"
            for m in floods
        ]
        text = "; ".join(told)
        text = f"{text[0].upper()}{text[1:]}."
        found.append(Headline("When is the floor under water?", WATCH, text, METHOD))
    text = (
        f"The stopped pumps took {flow.text(answers.pumped)}. Up to "
        f"{flow.text(answers.largest_inflow)} then run into the pit."
    )
    found.append(Headline("How much water comes?", WATCH, text, "MODFLOW 6 budgets"))
    question = "May one well or header fail?"
    if singles is None:
        found.append(Headline(question, OPEN, "Not asked for; --single-wells solves it.", ""))
    else:
        wet = [item.unit for item in singles if item.dry is False]
        lost = [item.unit for item in singles if item.margin is None]
        text = f"The clearance is kept with any one of {len(singles)} out."
        if lost:
            text = f"Not judged for {', '.join(lost[:6])}."
        if wet:
            text = f"{len(wet)} of {len(singles)} may not: {', '.join(wet[:6])}"
            text += " …" if len(wet) > 6 else "."
        word = NO if wet else OPEN if lost else YES
        found.append(Headline(question, word, text, "the steady stage solved again without it"))
    text = (
        "Times follow the storage given to the soils: with half the specific yield near the pit "
        "the ground under the floor fills about twice as fast."
    )
    found.append(Headline("How sure is that?", WATCH, text, ""))
    return found


def _filling(flooding: Flooding, answers: FloodAnswers) -> Part:
    hours, formation = flooding.hours, flooding.formation
    wet = flooding.pit_level > formation + FILM
    levels = {
        "highest water in the ground under the floor": flooding.under_floor,
        "water level in the pit": np.where(wet, flooding.pit_level, np.nan),
        "formation": np.full(hours.size, formation),
        "needed clearance": np.full(hours.size, formation - flooding.clearance),
    }
    marks = {}
    if answers.start_by:
        marks["water at formation"] = answers.start_by
    if answers.standby_hours is not None and answers.standby_hours <= hours[-1]:
        marks["standby power"] = answers.standby_hours
    hour = "hours since the pumps stopped"
    inflow = np.concatenate([flooding.inflow[1:2], flooding.inflow[1:]])
    return Part(
        title="How the pit fills",
        series={
            "levels": Curves(
                "Water in and under the pit", "level", hours, levels, hour, marks=marks
            ),
            "inflow": Curves(
                "Water running into the pit", "flow", hours, {"into the pit": inflow}, hour
            ),
            "volume": Curves(
                "Water standing in the pit", "volume", hours, {"in the pit": flooding.volume}, hour
            ),
        },
    )


def _moments(answers: FloodAnswers) -> PageTable:
    length, flow = shown("length", answers.show), shown("flow", answers.show)
    rows = []
    for moment in answers.moments:
        reached = moment.hours is not None
        when = hours_text(moment.hours) if moment.hours is not None else ""
        rows.append(
            [
                Cell(moment.what, moment.what),
                Cell(length.text(moment.level), moment.level, number=True),
                Cell(
                    when or f"not within {answers.days:g} days",
                    moment.hours if moment.hours is not None else float("inf"),
                    number=reached,
                ),
                Cell(flow.text(moment.inflow) if moment.inflow else "", moment.inflow or 0.0,
                     number=True),
            ]
        )  # fmt: skip
    return PageTable("when", ["What", "Level", "After", "Running into the pit then"], rows)


def _one_out(singles: Sequence[OneOut], show: str) -> PageTable:
    length, flow = shown("length", show), shown("flow", show)
    table = PageTable(
        "one_out", ["Out of work", "Points", "Water below formation", "All others take", "Note"]
    )
    for item in singles:
        verdict = {True: "ok", False: "bad", None: ""}[item.dry]
        table.rows.append(
            [
                Cell(item.unit, item.unit),
                Cell(str(item.points), item.points, number=True),
                Cell(
                    "not judged" if item.margin is None else length.text(item.margin),
                    item.margin if item.margin is not None else float("nan"),
                    verdict,
                    item.margin is not None,
                ),
                Cell("" if item.flow is None else flow.text(item.flow), item.flow or 0.0,
                     number=item.flow is not None),
                Cell(item.why),
            ]
        )  # fmt: skip
    return table


def _wells(
    run: RunFolder, answers: FloodAnswers, singles: Sequence[OneOut] | None, show: str
) -> dict[str, str]:
    """What is told of each well on the plan."""
    length = shown("length", show)
    alone = {item.unit: item for item in singles or ()}
    found = {}
    for well in run.ledger.wells:
        said = []
        if well.name in answers.stopped:
            said.append("stops")
        elif well.name in answers.running:
            said.append("goes on pumping")
        item = alone.get(well.name)
        if item is not None and item.margin is not None:
            side = "below" if item.margin >= 0 else "above"
            said.append(
                f"with it alone out: water {length.text(abs(item.margin))} {side} formation"
            )
        if said:
            found[well.name] = "; ".join(said)
    return found
