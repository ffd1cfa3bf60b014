"""Sections through the pit: ground, water before and in the last stage, walls, wells, borings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.figures.cuts import Cut
from wellring.postprocess.figures.fields import aquifers, head_of
from wellring.postprocess.figures.labels import spread, text_size
from wellring.postprocess.figures.section_marks import (
    Handles,
    Head,
    draw_borings,
    draw_digs,
    draw_walls,
    draw_wells,
    name_heads,
)
from wellring.postprocess.figures.soil_look import SoilLook, soil_looks
from wellring.postprocess.figures.style import (
    AQUIFER_LINES,
    DPI,
    INK,
    MARGIN,
    PAPER,
    SHEET,
    WATER,
    Scales,
    explain,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

_LEFT, _BOTTOM = MARGIN + 0.3, 2.35
_WIDTH, _HEIGHT = 8.9, 4.65
_EXAGGERATIONS = (1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4, 5, 6, 8, 10, 15, 20)
_COMPASS = (
    "N",
    "NNE",
    "NE",
    "ENE",
    "E",
    "ESE",
    "SE",
    "SSE",
    "S",
    "SSW",
    "SW",
    "WSW",
    "W",
    "WNW",
    "NW",
    "NNW",
)


def draw_section(run: RunFolder, results: list[StageResult], cut: Cut) -> Figure:
    """The sheet of one section."""
    scales, looks = Scales.of(run), soil_looks(run.ledger)
    factor = scales.length.factor
    way = "along" if cut.along else "across"
    natural = results[0]
    ground = _ground(natural, cut)
    lines = _water_lines(run, results, cut)
    band = _name_band(run, cut)
    low, high, exaggeration = _extent(natural, cut, ground, lines, band)
    wide = _WIDTH
    tall = (high - low) * exaggeration / cut.length * _WIDTH
    if tall > _HEIGHT:
        wide, tall = _WIDTH * _HEIGHT / tall, _HEIGHT
    figure = sheet(
        run,
        f"Section {cut.letter}–{cut.letter}' {way} the excavation",
        results[-1].entry.name if len(results) > 1 else None,
    )
    axes = panel(figure, _LEFT, _BOTTOM + 0.5 * (_HEIGHT - tall), wide, tall)
    axes.set_xlim(0, cut.length * factor)
    axes.set_ylim(low * factor, high * factor)
    axes.set_xlabel(f"Distance along the section [{scales.length.unit}]", labelpad=2)
    axes.set_ylabel(f"Level [{scales.length.unit}]", labelpad=2)
    handles: Handles = {}
    soils = _draw_ground(axes, run, natural, cut, factor, looks, handles)
    draw_digs(axes, run, cut, ground, [line.level for line in lines], scales, handles)
    draw_walls(axes, run, cut, ground, scales, handles)
    heads: list[Head] = draw_borings(axes, run, cut, scales, looks, handles)
    heads += draw_wells(axes, run, cut, ground, scales, handles)
    _draw_water(axes, cut, lines, factor)
    per_inch = (high - low) * factor / tall
    base = _highest(ground, lines) * factor
    name_heads(axes, heads, base + 0.06 * per_inch, 0.1 * per_inch)
    _name_ends(axes, cut)
    _keys(figure, handles, soils, wide)
    _note(figure, cut, scales, exaggeration)
    return figure


def _ground(natural: StageResult, cut: Cut) -> Floats:
    """Natural surface (m,) [m] over the section's cells."""
    active = natural.grid.active[:, cut.cells]
    top = natural.grid.top[:, cut.cells]
    first = np.argmax(active, axis=0)
    level = top[first, np.arange(len(cut.cells))]
    return np.where(active.any(axis=0), level, np.nan)


def _highest(ground: Floats, lines: list[_Line]) -> float:
    return float(max(np.nanmax(level) for level in (ground, *(line.level for line in lines))))


class _Line:
    """A line of water: levels (m,) [m] over the section's cells and how it is drawn."""

    def __init__(self, label: str, level: Floats, colour: str, mark: str, now: bool):
        self.label, self.level, self.colour, self.mark, self.now = label, level, colour, mark, now


def _water_lines(run: RunFolder, results: list[StageResult], cut: Cut) -> list[_Line]:
    found = []
    states = (
        [(results[0], False), (results[-1], True)] if len(results) > 1 else [(results[0], False)]
    )
    for result, now in states:
        when = plain(result.entry.name, 24)
        table = result.standing[cut.cells]
        if np.isfinite(table).any():
            found.append(_Line(f"water table,\n{when}", table, WATER, "", now))
    for place, index in enumerate(aquifers(run, results)[: len(AQUIFER_LINES)]):
        colour, mark = AQUIFER_LINES[place]
        label = plain(run.ledger.units[index].label, 22)
        own = []
        for result, now in states:
            head = head_of(run, result, index)[cut.cells]
            own.append(
                _Line(f"head in {label},\n{plain(result.entry.name, 24)}", head, colour, mark, now)
            )
        own = [line for line in own if np.isfinite(line.level).any()]
        if own and _told_apart(own[-1], found):
            found += own
    return found


def _told_apart(line: _Line, others: list[_Line]) -> bool:
    """Whether a head differs from every line drawn for the same state by more than a hand."""
    for other in others:
        if other.now == line.now:
            gap = np.abs(line.level - other.level)
            if np.isfinite(gap).any() and np.nanmedian(gap) < 0.1:
                return False
    return True


def _name_band(run: RunFolder, cut: Cut) -> float:
    """Height [in] to keep free above the ground for the names of wells and borings."""
    named = [(w.name, 22, w.x, w.y) for w in run.ledger.wells]
    named += [(b.id, 18, b.x, b.y) for b in run.ledger.borings]
    if not named:
        return 0.25
    s, away = cut.project(run, *np.array([item[2:] for item in named]).T)
    shown = (away <= cut.corridor) & (s >= 0) & (s <= cut.length)
    texts = [plain(item[0], item[1]) for item, there in zip(named, shown, strict=True) if there]
    return 0.35 + max((text_size(text, 6.3)[0] / DPI for text in texts), default=0.0)


def _extent(
    natural: StageResult, cut: Cut, ground: Floats, lines: list[_Line], band: float
) -> tuple[float, float, float]:
    """Lowest and highest level drawn [m], names included, and the vertical exaggeration."""
    active = natural.grid.active[:, cut.cells]
    base = float(np.where(active, natural.grid.bottom[:, cut.cells], np.inf).min())
    top = _highest(ground, lines)
    depth = top - base
    room = _HEIGHT - band
    fitting = [v for v in _EXAGGERATIONS if depth * v / cut.length * _WIDTH <= room]
    exaggeration = float(fitting[-1]) if fitting else 1.0
    per_metre = exaggeration / cut.length * _WIDTH
    if not fitting:
        per_metre = room / depth
    return base - 0.02 * depth, top + band / per_metre, exaggeration


def _draw_ground(
    axes: Axes,
    run: RunFolder,
    natural: StageResult,
    cut: Cut,
    factor: float,
    looks: dict[str, SoilLook],
    handles: Handles,
) -> list[str]:
    """Units as filled bands between their surfaces; the soils met, from the top."""
    unit, edges = run.unit[:, cut.cells], natural.grid.edges[:, cut.cells]
    solid = natural.grid.active[:, cut.cells]
    s = cut.s * factor
    met: list[str] = []
    above = np.full(len(s), -1)
    base = np.full(len(s), np.nan)
    names = list(looks)
    for index, entry in enumerate(run.ledger.units):
        own = (unit == index) & solid.any(axis=0)
        top = np.where(own, edges[:-1], -np.inf).max(axis=0) * factor
        bottom = np.where(own, edges[1:], np.inf).min(axis=0) * factor
        there = top - bottom > 1e-3
        if not there.any():
            continue
        look, code = looks[entry.soil], names.index(entry.soil)
        # One column more on each side, so that a band thins out to where the next has nothing.
        wider = there | np.append(there[1:], False) | np.append(False, there[:-1])
        axes.fill_between(
            s,
            bottom,
            top,
            where=wider & own.any(axis=0),
            facecolor=look.fill,
            hatch=look.hatch,
            edgecolor=INK,
            linewidth=0,
            zorder=1,
        )
        axes.plot(
            s, np.where(there & (above != code), top, np.nan), color=INK, linewidth=0.45, zorder=1.1
        )
        above[there], base[there] = code, bottom[there]
        if entry.soil not in met:
            met.append(entry.soil)
    axes.plot(s, base, color=INK, linewidth=0.45, zorder=1.1)
    for soil in met:
        handles[f"soil {soil}"] = looks[soil].patch(soil)
    return met


def _draw_water(axes: Axes, cut: Cut, lines: list[_Line], factor: float) -> None:
    """Lines of water, each named at the right-hand end."""
    ends, drawn = [], []
    for line in lines:
        known = np.isfinite(line.level)
        if not known.any():
            continue
        axes.plot(
            cut.s * factor,
            line.level * factor,
            color=line.colour,
            zorder=7,
            linewidth=1.7 if line.now else 1.0,
            linestyle="-" if line.now else (0, (4, 2)),
            marker=line.mark or None,
            markevery=(1, 5),
            markersize=3,
            markerfacecolor=line.colour if line.now else PAPER,
            markeredgewidth=0.6,
        )
        end = min(float(cut.s[known][-1]), cut.length)
        level = float(np.interp(end, cut.s[known], line.level[known]))
        ends.append((end * factor, level * factor))
        drawn.append(line)
        if not line.mark:
            first = int(np.flatnonzero(known)[min(2, known.sum() - 1)])
            axes.plot(
                cut.s[first] * factor,
                line.level[first] * factor,
                marker=7,
                markersize=5.5,
                color=line.colour,
                zorder=7.2,
                markerfacecolor=line.colour if line.now else PAPER,
            )
    low, high = axes.get_ylim()
    height = axes.get_window_extent().height / DPI
    gap = 0.3 * (high - low) / height
    placed = spread(np.array([end[1] for end in ends]), gap, low + gap / 2, high - gap / 2)
    wide = axes.get_xlim()[1]
    for (x, level), line, y in zip(ends, drawn, placed, strict=True):
        axes.plot(
            [x, wide * 1.008, wide * 1.02],
            [level, level, y],
            color=line.colour,
            linewidth=0.6,
            clip_on=False,
            zorder=7,
        )
        axes.text(
            wide * 1.024,
            y,
            line.label,
            fontsize=6.8,
            va="center",
            color=line.colour,
            weight="bold" if line.now else "normal",
            linespacing=1.1,
        )


def _name_ends(axes: Axes, cut: Cut) -> None:
    (x0, y0), (x1, y1) = cut.ends
    bearing = np.degrees(np.arctan2(x1 - x0, y1 - y0)) % 360
    towards = _COMPASS[round(bearing / 22.5) % 16]
    back = _COMPASS[round((bearing + 180) / 22.5) % 16]
    for place, name, side, where in (
        (0.0, cut.letter, "left", back),
        (1.0, f"{cut.letter}'", "right", towards),
    ):
        axes.text(
            place,
            1.012,
            f"{name}  ({where})",
            transform=axes.transAxes,
            fontsize=9,
            weight="bold",
            ha=side,
            va="bottom",
        )


def _keys(figure: Figure, handles: Handles, soils: list[str], wide: float) -> None:
    ground = [handles[f"soil {soil}"] for soil in soils]
    marks = [item for name, item in handles.items() if not name.startswith("soil ")]
    for items, left, title, columns in (
        (ground, _LEFT, "Soils (dots: pervious; slanted: middling; level strokes: tight)", 3),
        (marks, _LEFT + 5.2, "Excavation, walls, wells, borings", 2),
    ):
        if items:
            legend = figure.legend(
                handles=items,
                loc="upper left",
                ncols=columns,
                borderaxespad=0,
                title=title,
                title_fontsize=7.5,
                alignment="left",
                columnspacing=1.4,
                handlelength=2.6,
                handleheight=1.25,
                labelspacing=0.5,
                bbox_to_anchor=(left / SHEET[0], 1.78 / SHEET[1]),
            )
            figure.add_artist(legend)


def _note(figure: Figure, cut: Cut, scales: Scales, exaggeration: float) -> None:
    drawn = f"{exaggeration:g} times" if exaggeration != 1 else "not"
    explain(
        figure,
        f"Heights are exaggerated {drawn}. Ground as modelled, before the work. Wells and borings "
        f"within {scales.length.text(cut.corridor, 1)} of the section are projected onto it; the "
        "model's layers at a boring's distance may lie higher or lower. Water: thin dashed before "
        "the work, thick in the last stage; heads of aquifers under pressure carry marks. Levels "
        "are in the site's datum. Steady state.",
    )
