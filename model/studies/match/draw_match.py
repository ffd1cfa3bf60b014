"""Figures of a fit: observed against computed, residuals, intervals, bands before and after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.inputs.measured.observations import KINDS, Kind
from wellring.inputs.site.names import NATURAL
from wellring.model.studies.match.match_tables import prediction_table, trigger_table
from wellring.model.studies.study_sheets import StudySheets
from wellring.postprocess.figures.style import ALARM, INK, SOFT_INK, WATER, plain
from wellring.postprocess.not_written import NotWritten, item_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.model.studies.match.matched import Matched

_MARKS = ("o", "s", "^", "D", "v", "P", "X", "*")


def draw_match(done: Matched, folder: Path, failed: NotWritten | None = None) -> list[Path]:
    """Sheets of the fit, of its parameters and of what it predicts; PNG and SVG in `folder`.

    `failed` collects the sheets that cannot be drawn; without it the first error passes.
    """
    of_fit = {"fit": _fit_sheet, "parameters": _parameters_sheet}
    if any(r.observation.day is not None for r in done.readings):
        of_fit["in_time"] = _in_time_sheet
    of_prediction = {}
    if done.posterior.variants and len(prediction_table(done)):
        of_prediction["predictions"] = _predictions_sheet
        if done.triggers:
            of_prediction["triggers"] = _triggers_sheet
    written: list[Path] = []
    for scheme, drawn in ((done.scheme, of_fit), (done.predicted, of_prediction)):
        with StudySheets(done.study.base.site, scheme, folder) as sheets:
            for name, draw in drawn.items():
                with item_of(failed, f"figure {name}"):
                    sheets.save(draw(done, sheets), name)
        written += sheets.written
    return written


def _fit_sheet(done: Matched, sheets: StudySheets) -> Figure:
    kinds = list(dict.fromkeys(r.observation.kind for r in done.readings))
    figure = sheets.sheet(11.0, 4.0 * len(kinds) + 0.4, "measured and computed")
    panels = figure.subplots(len(kinds), 2, squeeze=False)
    for (left, right), kind in zip(panels, kinds, strict=True):
        _against(left, done, kind)
        _residuals(right, done, kind)
    return figure


def _in_time_sheet(done: Matched, sheets: StudySheets) -> Figure:
    figure = sheets.sheet(11.0, 5.2, "measured and computed in time")
    _in_time(figure.subplots(), done)
    return figure


def _parameters_sheet(done: Matched, sheets: StudySheets) -> Figure:
    figure = sheets.sheet(11.0, 2.2 + 0.45 * len(done.parameters), "fitted values, 95 % intervals")
    left, right = figure.subplots(1, 2, width_ratios=[1.6, 1.0])
    _intervals(left, done)
    _correlation(right, done)
    return figure


def _predictions_sheet(done: Matched, sheets: StudySheets) -> Figure:
    rows = len(prediction_table(done))
    figure = sheets.sheet(11.0, 1.6 + 0.62 * rows, "predicted before and after the fit")
    _bands(figure, done)
    return figure


def _triggers_sheet(done: Matched, sheets: StudySheets) -> Figure:
    figure = sheets.sheet(11.0, 1.8 + 0.62 * len(done.triggers), "to be measured next")
    _triggers(figure, done)
    return figure


def _scale(done: Matched, kind: Kind) -> tuple[float, str]:
    found = shown(KINDS[kind].shown, done.study.base.site.description.site.show)
    return found.factor, found.unit


def _points(done: Matched, kind: Kind) -> list[str]:
    mine = [r.observation for r in done.readings if r.observation.kind == kind]
    return list(dict.fromkeys(item.point for item in mine))


def _against(axes: Axes, done: Matched, kind: Kind) -> None:
    factor, unit = _scale(done, kind)
    ends: list[float] = []
    for number, point in enumerate(_points(done, kind)):
        mine = [r for r in done.readings if (r.observation.kind, r.observation.point) ==
                (kind, point)]  # fmt: skip
        x = np.array([r.computed for r in mine]) * factor
        y = np.array([r.observation.value for r in mine], dtype=float) * factor
        wide = np.array([r.observation.error for r in mine]) * factor
        axes.errorbar(x, y, yerr=1.96 * wide, fmt=_MARKS[number % len(_MARKS)], color=WATER,
                      mec=INK, mew=0.4, ms=4, ecolor=SOFT_INK, elinewidth=0.5,
                      label=plain(point or "all water pumped", 30))  # fmt: skip
        ends += [*x[np.isfinite(x)], *y]
    low, high = min(ends), max(ends)
    pad = 0.05 * (high - low or 1.0)
    axes.plot([low - pad, high + pad], [low - pad, high + pad], color=INK, linewidth=0.7)
    axes.set_xlabel(f"computed {KINDS[kind].name} [{unit}]")
    axes.set_ylabel(f"measured [{unit}], ± 1.96 standard errors")
    axes.legend(loc="best")


def _residuals(axes: Axes, done: Matched, kind: Kind) -> None:
    timed = any(r.observation.day is not None for r in done.readings if r.observation.kind == kind)
    for number, point in enumerate(_points(done, kind)):
        mine = [r for r in done.readings if (r.observation.kind, r.observation.point) ==
                (kind, point)]  # fmt: skip
        if timed:
            x = [np.nan if r.observation.day is None else r.observation.day for r in mine]
        else:
            x = [float(r.observation.stage or 0) for r in mine]
        y = [r.residual / r.observation.error for r in mine]
        axes.plot(x, y, _MARKS[number % len(_MARKS)], color=WATER, mec=INK, mew=0.4, ms=4)
    axes.axhline(0.0, color=INK, linewidth=0.7)
    for end in (-1.96, 1.96):
        axes.axhline(end, color=SOFT_INK, linewidth=0.5, linestyle=":")
    if not timed:
        names = (NATURAL, *done.stages)
        axes.set_xticks(range(len(names)), [plain(name, 16) for name in names])
        axes.set_xlim(-0.5, len(names) - 0.5)
    else:
        _log_days(axes, done)
    axes.set_xlabel("day" if timed else "stage")
    axes.set_ylabel("residual over its error")


def _log_days(axes: Axes, done: Matched) -> None:
    days = [r.observation.day for r in done.readings if r.observation.day is not None]
    if min(days) > 0 and max(days) > 30 * min(days):
        axes.set_xscale("log")


def _in_time(axes: Axes, done: Matched) -> None:
    # One axis a kind would hide how they go together: drawdowns and levels share the left one.
    twin = None
    for number, (kind, point) in enumerate(
        dict.fromkeys((r.observation.kind, r.observation.point) for r in done.readings)
    ):
        mine = [r for r in done.readings if r.observation.day is not None
                and (r.observation.kind, r.observation.point) == (kind, point)]  # fmt: skip
        if not mine:
            continue
        mine.sort(key=lambda r: r.observation.day or 0.0)
        factor, unit = _scale(done, kind)
        where = axes
        if kind == "flow":
            twin = twin or axes.twinx()
            twin.set_ylabel(f"flow [{unit}]")
            where = twin
        else:
            axes.set_ylabel(f"{KINDS[kind].name} [{unit}]")
        day = [r.observation.day or 0.0 for r in mine]
        band = np.array([r.band for r in mine]) * factor
        where.fill_between(day, band[:, 0], band[:, 1], color=WATER, alpha=0.12, linewidth=0)
        where.plot(day, [r.computed * factor for r in mine], color=WATER, linewidth=0.9)
        where.plot(day, [(r.observation.value or 0.0) * factor for r in mine],
                   _MARKS[number % len(_MARKS)], color="none", mec=INK, mew=0.6, ms=4,
                   label=plain(f"{kind} {point}".strip(), 40))  # fmt: skip
    _log_days(axes, done)
    axes.set_xlabel("day; marks measured, lines computed, shaded what 9 of 10 readings would be")
    axes.legend(loc="best")


def _intervals(axes: Axes, done: Matched) -> None:
    """Values over those of the file; levels as a part of their range."""
    for row, item in enumerate(done.parameters):
        value, (low, high) = done.values[row], done.intervals[row]
        over = [item.to_x(v) - item.to_x(item.start) for v in (low, value, high)]
        bounds = [item.to_x(v) - item.to_x(item.start) for v in (item.low, item.high)]
        size = 1 / np.log(10) if item.log else 2 / (bounds[1] - bounds[0])
        low, middle, high = (size * v for v in over)
        axes.plot([size * bounds[0], size * bounds[1]], [row, row], color=SOFT_INK, linewidth=0.6)
        axes.plot([-size * item.known, size * item.known], [row, row], color=SOFT_INK, linewidth=5,
                  alpha=0.35, solid_capstyle="butt")  # fmt: skip
        axes.plot([low, high], [row, row], color=WATER, linewidth=2.6, solid_capstyle="butt")
        axes.plot(middle, row, "o", color=WATER, mec=INK, ms=5)
    axes.axvline(0.0, color=INK, linewidth=0.6)
    axes.set_yticks(range(len(done.parameters)), [plain(i.path, 34) for i in done.parameters])
    axes.set_ylim(-0.7, len(done.parameters) - 0.3)
    low, high = (10**end for end in axes.get_xlim())
    nice = [a * 10.0**b for b in range(-6, 7) for a in (1, 2, 5) if low <= a * 10.0**b <= high]
    axes.set_xticks(np.log10(nice), [f"× {value:g}" for value in nice])
    axes.set_xlabel("over the file's value (levels: place in their range); "
                    "thin: bounds, grey: known before")  # fmt: skip


def _correlation(axes: Axes, done: Matched) -> None:
    matrix = done.fit.correlation
    axes.imshow(np.abs(matrix), cmap="Blues", vmin=0, vmax=1.4)
    for i, row in enumerate(matrix):
        for j, value in enumerate(row):
            axes.text(j, i, f"{value:+.2f}", ha="center", va="center", color=INK, fontsize=7)
    numbers = range(len(matrix))
    axes.set_xticks(numbers, [str(n + 1) for n in numbers])
    axes.set_yticks(numbers, [str(n + 1) for n in numbers])
    axes.invert_yaxis()
    axes.set_title("Correlation, parameters from the bottom up", fontsize=8)


def _bands(figure: Any, done: Matched) -> None:
    table = prediction_table(done)
    panels = figure.subplots(len(table), 1, squeeze=False).ravel()
    for axes, row in zip(panels, table.to_dict("records"), strict=True):
        try:
            entry = done.fitted.answers[row["answer"]]
            scale = shown(entry["kind"], done.study.base.site.description.site.show)
            factor, unit = scale.factor, scale.unit
        except (KeyError, ValueError):
            factor, unit = 1.0, str(row["unit"])
        for y, when, color in ((1, "before", SOFT_INK), (0, "after", WATER)):
            if row[f"low {when}"] is not None:
                ends = [row[f"{end} {when}"] * factor for end in ("low", "high")]
                axes.plot(ends, [y, y], color=color, linewidth=4, solid_capstyle="butt")
        axes.plot(row["fitted"] * factor, 0, "o", color=WATER, mec=INK, ms=4)
        limit = row["limit"]
        if limit is not None and np.isfinite(limit):
            axes.axvline(limit * factor, color=ALARM, linewidth=1.2)
        axes.set_yticks([0, 1], ["after", "before"])
        axes.set_ylim(-0.8, 1.8)
        axes.set_title(f"{plain(row['label'], 90)} [{unit}]", fontsize=7.5, loc="left", pad=2)


def _triggers(figure: Any, done: Matched) -> None:
    table = trigger_table(done)
    panels = figure.subplots(len(table), 1, squeeze=False).ravel()
    for axes, row, trigger in zip(panels, table.to_dict("records"), done.triggers, strict=True):
        factor, unit = _scale(done, trigger.observation.kind)
        for y, when, color in ((1, "before", SOFT_INK), (0, "after", WATER)):
            ends = [row[f"{end} {when}"] * factor for end in ("low", "high")]
            axes.plot(ends, [y, y], color=color, linewidth=4, solid_capstyle="butt")
        for end in ("low", "high"):
            axes.axvline(row[f"alert {end}"] * factor, color=INK, linewidth=0.9, linestyle="--")
            action = row[f"action {end}"]
            if action is not None and np.isfinite(action):
                axes.axvline(action * factor, color=ALARM, linewidth=1.2)
        axes.set_yticks([0, 1], ["after", "before"])
        axes.set_ylim(-0.8, 1.8)
        axes.set_title(f"{plain(row['what'], 80)} [{unit}]; dashed: alert, full: action",
                       fontsize=7.5, loc="left", pad=2)  # fmt: skip
