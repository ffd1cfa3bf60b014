"""The prepared sections of a report: ground, water and heads of every stage along each line."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.cuts import Cut
from wellring.postprocess.figures.fields import drawn_aquifers, head_of
from wellring.postprocess.figures.section_marks import toe_at
from wellring.postprocess.figures.soil_look import PERVIOUS, TIGHT, soil_looks
from wellring.postprocess.figures.style import plain
from wellring.postprocess.report.report_fields import bounds, pack
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]


def section_data(
    run: RunFolder, results: Sequence[StageResult], cuts: Sequence[Cut]
) -> dict[str, Any]:
    """Soils and cuts as the page reads them; lengths and levels in shown units."""
    length = shown("length", run.ledger.show)
    looks, soils = soil_looks(run.ledger), run.ledger.soils
    return {
        "unit": length.unit,
        "units": [
            {
                "label": plain(entry.label),
                "soil": plain(entry.soil),
                "fill": looks[entry.soil].fill,
                "hatch": "dots"
                if soils[entry.soil].kh >= PERVIOUS
                else "level"
                if soils[entry.soil].kh < TIGHT
                else "slant",
            }
            for entry in run.ledger.units
        ],
        "cuts": [_cut(run, results, cut, length.factor) for cut in cuts],
    }


def _cut(run: RunFolder, results: Sequence[StageResult], cut: Cut, factor: float) -> dict[str, Any]:
    natural, cells = results[0], cut.cells
    edges = natural.grid.edges[:, cells] * factor
    low, high = bounds([edges])
    heads = [np.where(r.grid.active, r.heads, np.nan)[:, cells] * factor for r in results]
    tables = [result.standing[cells] * factor for result in results]
    chosen = drawn_aquifers(run, list(results))
    lines = [
        (run.ledger.units[k].label, [head_of(run, r, k)[cells] * factor for r in results])
        for k in chosen
    ]
    head_low, head_high = bounds([*heads, *tables])
    between = 0.5 * (cut.s[1:] + cut.s[:-1])
    walls = np.concatenate([[max(cut.s[0], 0.0)], between, [min(cut.s[-1], cut.length)]])
    way = "along the pit" if cut.along else "across the pit"
    return {
        "letter": cut.letter,
        "label": f"{cut.letter}–{cut.letter}′, {way}",
        "length": cut.length * factor,
        "s": np.round(walls * factor, 4).tolist(),
        "low": low,
        "high": high,
        "edges": pack(edges, low, high),
        "layers": int(edges.shape[0] - 1),
        "unit": _bytes(run.unit[:, cells]),
        "active": [_bytes(result.grid.active[:, cells]) for result in results],
        "head_low": head_low,
        "head_high": head_high,
        "heads": [pack(field, head_low, head_high) for field in heads],
        "table": [_rounded(table) for table in tables],
        "aquifers": [
            {"label": plain(label), "heads": [_rounded(head) for head in stages]}
            for label, stages in lines
        ],
        "formations": [
            None if r.entry.formation is None else r.entry.formation * factor for r in results
        ],
        "pit": [[a * factor, b * factor] for a, b in cut.pit],
        "ends": [[round(x, 2), round(y, 2)] for x, y in cut.ends],
        "walls": _walls(run, cut, factor),
        "wells": _wells(run, cut, factor),
    }


def _bytes(values: NDArray) -> str:
    return base64.b64encode(np.asarray(values).astype(np.uint8).tobytes()).decode("ascii")


def _rounded(values: Floats) -> list[float | None]:
    return [round(float(v), 3) if np.isfinite(v) else None for v in values]


def _walls(run: RunFolder, cut: Cut, factor: float) -> list[dict[str, Any]]:
    found = []
    for wall in run.ledger.walls:
        for s in cut.crossings(run, wall.line):
            toe = toe_at(run, cut, wall, s)
            if toe is not None and 0 <= s <= cut.length:
                top = max(wall.tops, default=toe)
                found.append(
                    {
                        "name": plain(wall.name),
                        "s": s * factor,
                        "toe": toe * factor,
                        "top": top * factor,
                        "holds_water": wall.holds_water,
                        "from": wall.from_stage + 1,
                    }
                )
    return found


def _wells(run: RunFolder, cut: Cut, factor: float) -> list[dict[str, Any]]:
    wells = run.ledger.wells
    if not wells:
        return []
    along, away = cut.project(run, *np.array([(w.x, w.y) for w in wells]).T)
    return [
        {
            "name": plain(well.name),
            "s": float(s) * factor,
            "screen": [min(well.screen) * factor, max(well.screen) * factor],
            "levels": [None if v is None else v * factor for v in well.level],
            "used": [word != "not used" for word in well.governing],
        }
        for well, s, off in zip(wells, along, away, strict=True)
        if off <= cut.corridor and 0 <= s <= cut.length
    ]
