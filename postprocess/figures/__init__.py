"""Figures of a finished run, as PNG for a report and SVG for a drawing."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from wellring.postprocess.in_time import follow
from wellring.postprocess.neighbours import effects_on_neighbours
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["draw_figures", "draw_ground"]

# Matplotlib's settings and Python's warning filters belong to the whole process.
_DRAWING = threading.Lock()


def draw_figures(run: RunFolder, results: list[StageResult], folder: Path) -> list[Path]:
    """Draw all figures of a run.

    Plans of drawdown (water table in every stage; each aquifer with a head of its own in the
    last), two sections through the pit, borings beside the model, depth of the water below the
    last floor, stability of every floor, inflow by stage, water and pumping in time, settlement by
    stage and in time, reach of the drawdown by direction.

    Parameters
    ----------
    results : all stages, natural state first, from :func:`wellring.postprocess.answers
        .read_results`.
    folder : where the files go; it is made.

    Returns
    -------
    list of Path : a PNG (200 dpi) and an SVG a figure.

    Raises
    ------
    OSError : the folder cannot be written.
    """
    return _draw(_sheets(run, results), folder)


def draw_ground(run: RunFolder, results: list[StageResult], folder: Path) -> list[Path]:
    """Draw a site that was laid out but not solved: plan, two sections, borings.

    Parameters and errors as :func:`draw_figures`; `results` holds the natural state.

    Returns
    -------
    list of Path : a PNG for the screen a figure.
    """
    return _draw(_ground_sheets(run, results), folder, quick=True)


def _draw(sheets: Iterator[tuple[str, Figure]], folder: Path, quick: bool = False) -> list[Path]:
    from wellring.postprocess.figures.style import drawing, save

    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    with _DRAWING, drawing():
        for name, figure in sheets:
            written += save(figure, folder, name, quick=quick)
    return written


def _sheets(run: RunFolder, results: list[StageResult]) -> Iterator[tuple[str, Figure]]:
    """File name (no suffix) and sheet, one after the other so that each can be let go."""
    from wellring.postprocess.figures.bars import draw_inflow
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.fence import draw_fence
    from wellring.postprocess.figures.fields import drawn_aquifers
    from wellring.postprocess.figures.floor import draw_floor
    from wellring.postprocess.figures.influence_rose import draw_influence
    from wellring.postprocess.figures.plan import draw_plan, plan_windows
    from wellring.postprocess.figures.section import draw_section
    from wellring.postprocess.figures.stability_map import draw_stability
    from wellring.postprocess.stability import stabilities

    cuts = pit_cuts(run)
    windows = plan_windows(run, results)
    last = len(results) - 1
    for number, result in enumerate(results):
        if result.fall is not None:
            yield (
                f"plan-{result.entry.folder}",
                draw_plan(run, results, number, None, windows, cuts),
            )
    for unit in drawn_aquifers(run, results):
        name = _file_part(run.ledger.units[unit].label)
        yield (
            f"plan-{results[last].entry.folder}-unit-{unit + 1}{name}",
            draw_plan(run, results, last, unit, windows, cuts),
        )
    for cut in cuts:
        name = "along" if cut.along else "across"
        yield f"section-{name}", draw_section(run, results, cut)
    if run.ledger.borings:
        yield "borings", draw_fence(run, results)
    dry = results[last].dryness
    if dry is not None and dry.plan.size:
        yield "floor", draw_floor(run, results[last])
    for result, stable in zip(results, stabilities(run, results), strict=True):
        if stable is not None:
            yield f"stability-{result.entry.folder}", draw_stability(run, result, stable)
    if any(result.inflow is not None for result in results):
        yield "inflow", draw_inflow(run, results)
    course = follow(run, results)
    if course is not None:
        from wellring.postprocess.figures.course import draw_course

        yield "course", draw_course(run, results, course)
    yield from _settlement_sheets(run, results)
    effects = effects_on_neighbours(run, results)
    if effects is not None:
        from wellring.postprocess.figures.neighbours_plan import draw_neighbours

        yield "neighbours", draw_neighbours(run, results, effects)
    rose = draw_influence(run, results)
    if rose is not None:
        yield "influence", rose


def _settlement_sheets(run: RunFolder, results: list[StageResult]) -> Iterator[tuple[str, Figure]]:
    """Plans of settlement, a stage each where it is a millimetre or more, and curves in time."""
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.settlement_curves import draw_settlement_curves
    from wellring.postprocess.figures.settlement_plan import draw_settlement, settlement_windows
    from wellring.postprocess.figures.settlement_trough import draw_troughs
    from wellring.postprocess.settlement import settlements
    from wellring.postprocess.settlement_course import settlement_course

    found = settlements(run, results)
    if not any((item.final >= 1e-3).any() for item in found):
        return
    windows = settlement_windows(run, found)
    for number, item in enumerate(found, start=1):
        yield (
            f"settlement-{item.entry.folder}",
            draw_settlement(run, results, number, found, windows),
        )
    yield "settlement-sections", draw_troughs(run, found, pit_cuts(run))
    course = settlement_course(run, results)
    if course is not None:
        yield "settlement-in-time", draw_settlement_curves(run, results, course)


def _ground_sheets(run: RunFolder, results: list[StageResult]) -> Iterator[tuple[str, Figure]]:
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.fence import draw_fence
    from wellring.postprocess.figures.plan import draw_plan, plan_windows
    from wellring.postprocess.figures.section import draw_section

    cuts = pit_cuts(run)
    yield "plan", draw_plan(run, results, 0, None, plan_windows(run, results), cuts)
    for cut in cuts:
        name = "along" if cut.along else "across"
        yield f"section-{name}", draw_section(run, results, cut)
    if run.ledger.borings:
        yield "borings", draw_fence(run, results)


def _file_part(label: str) -> str:
    """A unit's label as a part of a file name; empty if nothing of it is safe."""
    safe = re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")[:30]
    return f"-{safe}" if safe else ""
