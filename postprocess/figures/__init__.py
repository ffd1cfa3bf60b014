"""Figures of a finished run, as PNG for a report and SVG for a drawing."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from wellring.postprocess.neighbours.neighbours import effects_on_neighbours
from wellring.postprocess.not_written import NotWritten, item_of
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.in_time import follow

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["draw_figures", "draw_ground"]

Sheet = tuple[str, "Callable[[], Figure]"]
"""File name (no suffix) and what draws it; drawn one after the other so that each can be let go."""
Group = Callable[[RunFolder, list[StageResult]], Iterator[Sheet]]

# Matplotlib's settings and Python's warning filters belong to the whole process.
_DRAWING = threading.Lock()


def draw_figures(
    run: RunFolder, results: list[StageResult], folder: Path, failed: NotWritten | None = None
) -> list[Path]:
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
    failed : collects the figures that cannot be drawn; without it the first error passes.

    Returns
    -------
    list of Path : a PNG (200 dpi) and an SVG a figure.

    Raises
    ------
    OSError : the folder cannot be written.
    """
    groups: dict[str, Group] = {
        "plans": _plans,
        "sections": _sections,
        "borings": _borings,
        "floor": _floor,
        "stability": _stability,
        "inflow": _inflow,
        "course": _course,
        "settlement": _settlement,
        "neighbours": _neighbours,
        "influence": _influence,
    }
    return _draw(groups, run, results, folder, failed)


def draw_ground(
    run: RunFolder, results: list[StageResult], folder: Path, failed: NotWritten | None = None
) -> list[Path]:
    """Draw a site that was laid out but not solved: plan, two sections, borings.

    Parameters and errors as :func:`draw_figures`; `results` holds the natural state.

    Returns
    -------
    list of Path : a PNG for the screen a figure.
    """
    groups: dict[str, Group] = {
        "plan": _ground_plan,
        "sections": _sections,
        "borings": _borings,
    }
    return _draw(groups, run, results, folder, failed, quick=True)


def _draw(
    groups: dict[str, Group],
    run: RunFolder,
    results: list[StageResult],
    folder: Path,
    failed: NotWritten | None,
    quick: bool = False,
) -> list[Path]:
    from wellring.postprocess.figures.style import drawing, save

    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    with _DRAWING, drawing():
        for title, group in groups.items():
            with item_of(failed, f"figures of {title}"):
                for name, draw in group(run, results):
                    with item_of(failed, f"figure {name}"):
                        written += save(draw(), folder, name, quick=quick)
    return written


def _plans(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.fields import drawn_aquifers
    from wellring.postprocess.figures.plan import draw_plan, plan_windows

    cuts, windows, last = pit_cuts(run), plan_windows(run, results), len(results) - 1
    for number, result in enumerate(results):
        if result.fall is not None:
            draw = partial(draw_plan, run, results, number, None, windows, cuts)
            yield f"plan-{result.entry.folder}", draw
    for unit in drawn_aquifers(run, results):
        name = f"unit-{unit + 1}{_file_part(run.ledger.units[unit].label)}"
        draw = partial(draw_plan, run, results, last, unit, windows, cuts)
        yield f"plan-{results[last].entry.folder}-{name}", draw


def _ground_plan(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.plan import draw_plan, plan_windows

    windows = plan_windows(run, results)
    yield "plan", partial(draw_plan, run, results, 0, None, windows, pit_cuts(run))


def _sections(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.section import draw_section

    for cut in pit_cuts(run):
        name = "along" if cut.along else "across"
        yield f"section-{name}", partial(draw_section, run, results, cut)


def _borings(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.fence import draw_fence, log_pairs

    if log_pairs(run, results[0]):
        yield "borings", partial(draw_fence, run, results)


def _floor(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.floor import draw_floor

    dry = results[-1].dryness
    if dry is not None and dry.plan.size:
        yield "floor", partial(draw_floor, run, results[-1])


def _stability(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.stability_map import draw_stability
    from wellring.postprocess.stability.stability import stabilities

    for result, stable in zip(results, stabilities(run, results), strict=True):
        if stable is not None:
            yield f"stability-{result.entry.folder}", partial(draw_stability, run, result, stable)


def _inflow(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.bars import draw_inflow

    if any(result.inflow is not None for result in results):
        yield "inflow", partial(draw_inflow, run, results)


def _course(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.course import draw_course

    course = follow(run, results)
    if course is not None:
        yield "course", partial(draw_course, run, results, course)


def _settlement(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    """Plans of settlement, a stage each where it is a millimetre or more, and curves in time."""
    from wellring.postprocess.figures.cuts import pit_cuts
    from wellring.postprocess.figures.settlement_curves import draw_settlement_curves
    from wellring.postprocess.figures.settlement_plan import draw_settlement, settlement_windows
    from wellring.postprocess.figures.settlement_trough import draw_troughs
    from wellring.postprocess.settlement.settlement import settlements
    from wellring.postprocess.settlement.settlement_course import settlement_course

    found = settlements(run, results)
    if not any((item.final >= 1e-3).any() for item in found):
        return
    windows = settlement_windows(run, found)
    for number, item in enumerate(found, start=1):
        draw = partial(draw_settlement, run, results, number, found, windows)
        yield f"settlement-{item.entry.folder}", draw
    yield "settlement-sections", partial(draw_troughs, run, found, pit_cuts(run))
    course = settlement_course(run, results)
    if course is not None:
        yield "settlement-in-time", partial(draw_settlement_curves, run, results, course)


def _neighbours(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.neighbours_plan import draw_neighbours

    effects = effects_on_neighbours(run, results)
    if effects is not None:
        yield "neighbours", partial(draw_neighbours, run, results, effects)


def _influence(run: RunFolder, results: list[StageResult]) -> Iterator[Sheet]:
    from wellring.postprocess.figures.influence_rose import draw_influence

    rose = draw_influence(run, results)
    if rose is not None:
        yield "influence", lambda: rose


def _file_part(label: str) -> str:
    """A unit's label as a part of a file name; empty if nothing of it is safe."""
    safe = re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")[:30]
    return f"-{safe}" if safe else ""
