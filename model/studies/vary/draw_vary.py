"""Figures of varied cases: tornado, scatter, distribution, and how a chance settles."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.model.studies.frames import answer_names
from wellring.model.studies.study_sheets import StudySheets
from wellring.postprocess.figures.style import ALARM, INK, SOFT_INK, WATER, plain
from wellring.postprocess.neighbours.chances import chance
from wellring.postprocess.not_written import NotWritten, item_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from wellring.model.studies.vary.vary import Varied


def draw_vary(done: Varied, folder: Path, failed: NotWritten | None = None) -> list[Path]:
    """One sheet a headline answer, and one of the chances; PNG and SVG in `folder`/figures.

    `failed` collects the sheets that cannot be drawn; without it the first error passes.
    """
    with StudySheets(done.study.base.site, done.scheme, folder / "figures") as sheets:
        for name in done.headlines:
            with item_of(failed, f"figure {name}"):
                _answer(sheets, done, name)
        if done.drawn and done.fails():
            with item_of(failed, "figure chances"):
                title = "chance that a limit fails, by the number of cases"
                figure = sheets.sheet(8.0, 4.5, title)
                _running(figure.subplots(), done)
                sheets.save(figure, "chances")
    return sheets.written


def _answer(sheets: StudySheets, done: Varied, name: str) -> None:
    """The sheet of one headline answer."""
    label, unit = done.label(name)[0], _scale(done, name)[1]
    count = len(done.parameters)
    figure = sheets.sheet(11.0, 3.4 + 2.4 * ((count + 3) // 4), label)
    upper, lower = figure.subfigures(2, 1, height_ratios=[3.0, 2.4 * ((count + 3) // 4)])
    left, right = upper.subplots(1, 2)
    _tornado(left, done, name, unit)
    _distribution(right, done, name, unit)
    panels = lower.subplots((count + 3) // 4, 4, squeeze=False).ravel()
    for index, axes in enumerate(panels):
        axes.set_visible(index < count)
        if index < count:
            _scatter(axes, done, index, name, unit)
    sheets.save(figure, name.replace(".", "-"))


def _scale(done: Varied, name: str) -> tuple[float, str]:
    """What an answer in SI is multiplied by to be shown, and the unit it is shown in."""
    entry = answer_names([done.base, *done.outcomes])[name]
    try:
        found = shown(entry.get("kind", ""), done.study.base.site.description.site.show)
    except (KeyError, ValueError):
        return 1.0, str(entry["unit"])
    return found.factor, found.unit


def _tornado(axes: Axes, done: Varied, name: str, unit: str) -> None:
    factor = _scale(done, name)[0]
    swings = done.swings(name) * factor
    width = np.nan_to_num(np.ptp(swings, axis=1))
    order = np.argsort(width)
    base = done.base.answers.get(name, {}).get("value")
    base = None if base is None else base * factor
    for row, index in enumerate(order):
        low, high = swings[index]
        middle = base if base is not None else 0.5 * (low + high)
        axes.barh(row, low - middle, left=middle, height=0.55, color=SOFT_INK, edgecolor=INK)
        axes.barh(row, high - middle, left=middle, height=0.55, color=WATER, edgecolor=INK)
    axes.set_ylim(-1.2, len(order) + 0.2)
    axes.set_yticks(range(len(order)), [plain(done.parameters[i].path, 40) for i in order])
    if base is not None:
        axes.axvline(base, color=INK, linewidth=0.8)
    axes.set_xlabel(f"[{unit}]; grey: parameter low, blue: high")
    how = (
        "10 % and 90 % of each" if done.plan.design == "one at a time" else "lowest, highest tenth"
    )
    axes.set_title(f"What moves it ({how})", fontsize=8)


def _distribution(axes: Axes, done: Varied, name: str, unit: str) -> None:
    factor = _scale(done, name)[0]
    values = np.sort(done.values(name)[np.isfinite(done.values(name))]) * factor
    axes.step(values, np.arange(1, values.size + 1) / values.size, where="post", color=WATER)
    axes.axhline(0.5, color=SOFT_INK, linewidth=0.4)
    limit = done.limits.get(name, done.base.answers.get(name, {}).get("limit"))
    near = 3 * float(np.ptp(values))
    if isinstance(limit, int | float) and (values[0] - near < limit * factor < values[-1] + near):
        axes.axvline(limit * factor, color=ALARM, linewidth=1.2, label="limit")
        axes.legend(loc="best")
    axes.set_ylim(0, 1.02)
    axes.set_xlabel(f"[{unit}]")
    axes.set_ylabel("share of cases below")
    axes.set_title("Its distribution", fontsize=8)


def _scatter(axes: Axes, done: Varied, index: int, name: str, unit: str) -> None:
    parameter = done.parameters[index]
    x = np.array([variant.overrides[parameter.path] for variant in done.variants])
    axes.plot(x, done.values(name) * _scale(done, name)[0], ".", color=WATER, markersize=3)
    if x.min() > 0 and x.max() > 5 * x.min():
        axes.set_xscale("log")
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:.0e}")
        axes.xaxis.set_minor_formatter(lambda value, _: "")
    axes.set_xlabel(plain(parameter.path, 36))
    axes.set_ylabel(f"[{unit}]")


def _running(axes: Axes, done: Varied) -> None:
    fails = done.fails()
    told = {name: values for name, values in fails.items() if values.any()}
    if len(told) == 2 and all(np.array_equal(v, told["any limit"]) for v in told.values()):
        del told["any limit"]
    told = told or {"any limit": fails["any limit"]}
    looks = ("-", "--", ":", "-.")
    for number, (name, values) in enumerate(list(told.items())[:4]):
        counts = np.unique(np.linspace(1, values.size, min(values.size, 60)).astype(int))
        found = [chance(values[:n]) for n in counts]
        axes.plot(counts, [c.value for c in found], looks[number], color=INK, label=plain(name, 60))
        axes.fill_between(
            counts, [c.low for c in found], [c.high for c in found], color=WATER, alpha=0.12
        )
    axes.set_ylim(-0.02, 1.02)
    axes.set_xlabel("cases")
    axes.set_ylabel("chance, with its 95 % interval")
    axes.legend(loc="best")
