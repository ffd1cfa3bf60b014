"""The report of an outage: how the pit fills, whether standby power is in time, one well out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.model.outage.one_out import OneOut
from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.operation.flood_answers import CAUTION, METHOD, FloodAnswers, hours_text
from wellring.postprocess.operation.flooding import FILM, Flooding
from wellring.postprocess.operation.standby import BASIS as STANDBY_BASIS
from wellring.postprocess.operation.standby import StandbyNeed
from wellring.postprocess.report.report import assumptions_of, method_of, provenance_of_page
from wellring.postprocess.report.report_fields import plan_layers
from wellring.postprocess.report.report_page import Page
from wellring.postprocess.report.report_plan import Sheet, plans_data
from wellring.postprocess.report.report_section import section_data
from wellring.postprocess.report.report_sections import Sections, Subject
from wellring.postprocess.report.report_tables import Cell, PageTable
from wellring.postprocess.report_headlines import NO, OPEN, WATCH, YES, Headline
from wellring.postprocess.run.answer import HELD, Curves, Part
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import read_results


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
    if answers.bursts:
        lead.append(Subject("Plugs under the floor", "s-plugs", [_plugs(answers)]))
    if singles is not None:
        lead.append(Subject("One well out", "s-one-out", [_one_out(singles, show)]))
    told = _wells(run, answers, singles, show)
    sheet = Sheet(run, plan_layers(run, results), results, cuts=cuts, wells=told)
    return Page(
        kind="the pumps stop",
        site=ledger.site,
        about=[("Scheme", ledger.scheme), ("Stage", stage.name)],
        told=_told(answers),
        verdict=_verdict(answers, singles, need, show),
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
    if answers.standby_ok is not None:
        return "Standby power is in time." if answers.standby_ok else "Standby power is too late."
    burst = answers.first_burst
    if answers.lifts_first and burst is not None and burst.hours is not None:
        return f"The {burst.name} is at its limit {hours_text(burst.hours)} after the pumps stop."
    if answers.at_formation is None:
        return f"The water does not reach formation within {answers.days:g} days."
    return f"The water is at formation {hours_text(answers.at_formation)} after the pumps stop."


def _verdict(
    answers: FloodAnswers, singles: Sequence[OneOut] | None, need: StandbyNeed | None, show: str
) -> bool | None:
    """The worst answer: no where any headline says no, yes only where none is left open."""
    words = [item.verdict for item in _headlines(answers, singles, need, show)]
    if NO in words:
        return False
    return True if answers.standby_ok and OPEN not in words else None


def _floor(answers: FloodAnswers) -> Headline:
    """Whether the floor holds when the pumps stop."""
    question, burst = "Does the floor hold when the pumps stop?", answers.first_burst
    basis = "uplift of every plug by the heads of the model in time; water in the pit not counted"
    if burst is not None:
        text = answers.burst_texts()[0]
        return Headline(question, NO, f"{text[0].upper()}{text[1:]}.", basis)
    if answers.floor_holds is None:
        return Headline(question, OPEN, f"Not judged: {answers.floor}.", basis)
    if answers.floor_holds is False:
        text = f"Not in the end, though for {answers.days:g} days: {answers.floor}."
        return Headline(question, NO, text, basis)
    return Headline(question, YES, f"It does: {answers.floor}.", basis)


def _headlines(
    answers: FloodAnswers, singles: Sequence[OneOut] | None, need: StandbyNeed | None, show: str
) -> list[Headline]:
    flow = shown("flow", show)
    verdict = {True: YES, False: NO, None: OPEN}[answers.standby_ok]
    text = answers.standby_text()
    if answers.standby_hours is None:
        text += " Give the hours until standby power runs (--standby) to have it judged."
    found = [Headline("Is standby power in time?", verdict, text, METHOD), _floor(answers)]
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
        found.append(_redundant(question, [item for item in singles if item.kind == "unit"]))
        tables = [item for item in singles if item.kind == "table"]
        if tables:
            found.append(_tables(tables))
    text = (
        "Times follow the storage given to the soils: with half the specific yield near the pit "
        "the ground under the floor fills about twice as fast."
    )
    found.append(Headline("How sure is that?", WATCH, text, ""))
    return found


def _redundant(question: str, singles: Sequence[OneOut]) -> Headline:
    """Whether any one unit may fail: clearance, sump and uplift of every plug."""
    failing = [item for item in singles if item.ok is False or item.flow is None]
    open_ones = [item.unit for item in singles if item.ok is None]
    text = f"Clearance and floor are kept with any one of {len(singles)} out."
    if open_ones:
        text = f"Not judged for {_first(open_ones)}."
    if failing:
        text = f"{len(failing)} of {len(singles)} may not: {_first([i.unit for i in failing])}."
        lifted = [item for item in failing if item.holds is False]
        if lifted:
            worst = max(lifted, key=lambda item: item.uplift or 0.0)
            text += f" Without {worst.unit}: {worst.floor}."
    word = NO if failing else OPEN if open_ones else YES
    return Headline(question, word, text, "the steady stage solved again without it")


def _tables(tables: Sequence[OneOut]) -> Headline:
    """Whether the floor holds with all points of one drainage table out."""
    lifted = [item for item in tables if item.holds is False]
    open_ones = [item.unit for item in tables if item.holds is None]
    text = "The floor holds with any one drainage table out of work."
    if open_ones:
        text = f"Not judged for {_first(open_ones)}."
    if lifted:
        worst = max(lifted, key=lambda item: item.uplift or 0.0)
        text = f"Not without {_first([item.unit for item in lifted])}: {worst.floor}."
    word = NO if lifted else OPEN if open_ones else YES
    basis = "the steady stage solved again without it, judged by uplift"
    return Headline("Does the floor hold without one drainage table?", word, text, basis)


def _first(names: Sequence[str], most: int = 6) -> str:
    return ", ".join(names[:most]) + (" …" if len(names) > most else "")


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
    if answers.at_formation:
        marks["water at formation"] = answers.at_formation
    burst = answers.first_burst
    if burst is not None and burst.hours is not None:
        marks["plug at its limit"] = burst.hours
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


def _plugs(answers: FloodAnswers) -> PageTable:
    length = shown("length", answers.show)
    table = PageTable(
        "plugs",
        ["Plug", "At its limit after", "Head", "Head in the end", "Allowable head",
         "Factor of safety in the end", "Utilisation in the end", "How found"],
    )  # fmt: skip
    for item in answers.bursts:
        bad = "bad" if item.hours is not None or item.utilisation > HELD else "ok"
        when = f"not within {answers.days:g} days" if item.hours is None else hours_text(item.hours)
        factor = float("inf") if item.factor is None else item.factor
        table.rows.append(
            [
                Cell(item.name, item.name),
                Cell(when, float("inf") if item.hours is None else item.hours, bad, True),
                *(
                    Cell(length.text(value), value, number=True)
                    for value in (item.head_before, item.head_at_end, item.head_allowed)
                ),
                Cell("" if item.factor is None else f"{factor:.2f}", factor, number=True),
                Cell(f"{item.utilisation:.2f}", item.utilisation, number=True),
                Cell(item.basis),
            ]
        )
    return table


def _one_out(singles: Sequence[OneOut], show: str) -> PageTable:
    length, flow = shown("length", show), shown("flow", show)
    table = PageTable(
        "one_out",
        ["Out of work", "Points", "Water below formation", "Uplift utilisation", "All others take",
         "Note"],
    )  # fmt: skip
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
                Cell(
                    "" if item.uplift is None else f"{item.uplift:.2f}",
                    item.uplift if item.uplift is not None else float("nan"),
                    {True: "ok", False: "bad", None: ""}[item.holds],
                    item.uplift is not None,
                ),
                Cell("" if item.flow is None else flow.text(item.flow), item.flow or 0.0,
                     number=item.flow is not None),
                Cell(f"{item.why}; {item.floor}" if item.why and item.floor
                     else item.why or item.floor),
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
        if item is not None and item.holds is False:
            said.append(f"with it alone out the floor does NOT hold: {item.floor}")
        if said:
            found[well.name] = "; ".join(said)
    return found
