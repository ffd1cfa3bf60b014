"""The report of a run: the answers of one scheme, for a screen and for paper.

What it shows is asked of the answers and their parts by name, so a new subject of assessment
appears without a change here.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import shown
from wellring.postprocess.answers import Answers
from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.figures.style import plain
from wellring.postprocess.report.report_fields import plan_layers
from wellring.postprocess.report.report_page import REPORT_FILE, Page
from wellring.postprocess.report.report_plan import Sheet, plans_data
from wellring.postprocess.report.report_section import section_data
from wellring.postprocess.report.report_sections import Sections, Subject
from wellring.postprocess.report.report_tables import PageTable, plain_table
from wellring.postprocess.report_headlines import headlines
from wellring.postprocess.run.answer import counted
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.tables import make_tables

CAUTION = (
    "A pervious seam between two borings, a confined layer under a plug of clay, or a bad joint in "
    "a wall can flood a pit or break its floor whatever a model says. Test with pumping, measure "
    "inside and outside, keep standby pumps and power, and have somebody answer for the pumps at "
    "every hour."
)


def write_report(
    run: RunFolder, answers: Answers, path: Path | None = None, extra: Sequence[Subject] = ()
) -> Path:
    """Write the report of a run.

    Parameters
    ----------
    answers : with the stages and parts that :func:`wellring.postprocess.answers.make_answers`
        found.
    path : where to; ``report.html`` in the run folder if None.
    extra : more sections, as of a review, shown after the answers.

    Returns
    -------
    The file written.
    """
    return report_page(run, answers, extra).write(path or run.path / REPORT_FILE)


def report_page(run: RunFolder, answers: Answers, extra: Sequence[Subject] = ()) -> Page:
    """The report of a run as a page; parameters as :func:`write_report`."""
    ledger, provenance = run.ledger, run.provenance
    sections = Sections(ledger.show, {stage.folder: stage.name for stage in ledger.stages})
    cuts = pit_cuts(run)
    layers = plan_layers(run, answers.stages)
    marks = []
    for part in answers.parts:
        layers |= part.fields
        marks += part.marks
    return Page(
        kind="report of a run",
        site=ledger.site,
        about=[("Scheme", ledger.scheme)],
        told="All limits that were checked hold." if answers.all_ok else "Not all limits hold.",
        verdict=answers.all_ok,
        invented=ledger.invented,
        system=ledger.show,
        notes=_notes(run),
        headlines=headlines(run, answers),
        warnings=answers.all_warnings,
        stages=[(stage.folder, stage.name) for stage in ledger.stages],
        plans=plans_data([Sheet(run, layers, answers.stages, marks, cuts)]),
        section=section_data(run, answers.stages, cuts),
        subjects=[*_subjects(run, answers, sections), *extra],
        charts=sections.charts,
        method=[method_of(run)],
        checks=_checks(run, answers),
        assumptions=assumptions_of(run, answers.assumptions),
        cautions=[CAUTION],
        **provenance_of_page(provenance),
    )


def provenance_of_page(provenance: dict[str, Any]) -> dict[str, Any]:
    """What a page tells of inputs and programs, from what run.json holds."""
    inputs, solver = provenance.get("inputs", {}), provenance["solver"]
    return {
        "inputs": inputs.get("files", {}),
        "sha256": inputs["sha256"],
        "made_with": f"wellring {provenance['wellring']}; MODFLOW 6 {solver['version']}, SHA-256 "
        f"of the executable {solver['sha256']}",
    }


def _subjects(run: RunFolder, answers: Answers, sections: Sections) -> list[Subject]:
    """Water first, then each part in its order."""
    tables = make_tables(run, answers.stages)
    of_parts = {name for part in answers.parts for name in part.answers}
    own = {name: a for name, a in answers.answers.items() if name not in of_parts}
    sure = {name: a for name, a in own.items() if name in _SURE}
    points = {name: a for name, a in own.items() if ".level." in name}
    water = {name: a for name, a in own.items() if name not in sure and name not in points}
    names = ("stages", "inflow", "inflow_by_layer", "wells", "water_balance")
    shown_tables = {name: tables[name] for name in names}
    found = [sections.subject("Water and dryness", [water], shown_tables)]
    if points:
        found.append(sections.subject("Water levels at your points", [points]))
    found += sections.parts(answers.parts)
    found.append(sections.subject("How sure the numbers are", [sure]))
    return found


_SURE = (
    "mass_balance_error",
    "inflow_extrapolated",
    "grid_error",
    "grid_error_level",
    "farther_source_inflow",
    "farther_source_level",
)


def _notes(run: RunFolder) -> str:
    try:
        return run.description.site.notes or ""
    except OSError:  # folders of early versions hold no description
        return ""


def assumptions_of(run: RunFolder, more: Sequence[str] = ()) -> list[str]:
    """What was assumed, each said once."""
    return list(dict.fromkeys([*run.provenance.get("assumptions", []), *more]))


def method_of(run: RunFolder) -> str:
    """How a run was modelled, in a few sentences."""
    ledger, provenance = run.ledger, run.provenance
    away = shown("length", ledger.show).text(ledger.source_distance, 0)
    way = "; the days between are followed step by step" if ledger.phases else ""
    return (
        "Each stage is a model of its own of the ground around the pit, "
        f"{counted(provenance['cells'], 'cells')} in {counted(provenance['layers'], 'layers')}, "
        "solved by MODFLOW 6 "
        f"{provenance['solver']['version']}{way or ' for its steady state'}. The borings' layers "
        "are carried between the borings as the inputs say; walls, wells and the dig are placed on "
        "the grid; floors and faces of the dig let water in. Water comes from "
        f"{away} away ({plain(ledger.source_basis, 300)})."
    )


def _checks(run: RunFolder, answers: Answers) -> PageTable:
    """Per stage: how it was solved, its mass balance, model and closed form side by side."""
    flow = shown("flow", run.ledger.show)
    rows = []
    for result in answers.stages:
        modelled, closed = result.inflow, result.estimate
        rows.append(
            [
                result.entry.name,
                result.entry.rung,
                f"{result.entry.discrepancy:.3g} %",
                flow.text(modelled.total) if modelled is not None else "",
                flow.text(closed.flow) if closed is not None else "",
                shown_text("; ".join(closed.differs), run.ledger.show)
                if closed is not None
                else "",
            ]
        )
    head = ["Stage", "Solved by", "Mass balance error", "Inflow, model", "Inflow, closed form"]
    return plain_table("checks", [*head, "Why the two differ"], rows)
