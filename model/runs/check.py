"""`wellring check`: read and lay out everything, say what would be modelled, run nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import Shown, conductivity_text, shown
from wellring.inputs.read_site import Site, read_site
from wellring.model.drainage.points import GridPoint
from wellring.model.grid.grid_sizes import formations
from wellring.model.grid.walls import wall_leakage
from wellring.model.layouts.layout import Layout, lay_out_schemes, scheme_walls
from wellring.model.runs.result_folders import safe_name
from wellring.model.runs.run import schemes_of
from wellring.postprocess.not_written import NotWritten
from wellring.postprocess.run.answer import counted


@dataclass
class SchemeCheck:
    """What one scheme would be modelled as: rows of text tables, and drawings made."""

    scheme: str
    cells: int
    layers: int
    facts: list[tuple[str, str]]
    wells: list[tuple[str, str]]
    walls: list[tuple[str, str]]
    assumptions: list[str]
    warnings: list[str]
    drawings: list[Path]
    not_written: list[str]


@dataclass
class CheckReport:
    """What `wellring check` found about a site."""

    site: Site
    units: list[tuple[str, ...]]
    soils: list[tuple[str, ...]]
    schemes: list[SchemeCheck]

    @property
    def not_written(self) -> list[str]:
        """Drawings that could not be made, one sentence each."""
        return [f"{s.scheme}: {item}" for s in self.schemes for item in s.not_written]

    def as_json(self) -> dict[str, Any]:
        """The report for other programs to read."""
        return {
            "site": self.site.name,
            "inputs": dict(self.site.files),
            "units": [dict(zip(_UNIT_HEAD, row, strict=True)) for row in self.units],
            "soils": [dict(zip(_SOIL_HEAD, row, strict=True)) for row in self.soils],
            "warnings": list(self.site.warnings),
            "schemes": [
                {
                    "name": s.scheme,
                    "cells": s.cells,
                    "layers": s.layers,
                    "facts": dict(s.facts),
                    "wells": dict(s.wells),
                    "walls": dict(s.walls),
                    "assumptions": s.assumptions,
                    "warnings": s.warnings,
                    "drawings": [str(path) for path in s.drawings],
                }
                for s in self.schemes
            ],
        }

    def text(self) -> str:
        """The report for people."""
        system = self.site.description.site.show
        lines = [
            self.site.name,
            "",
            "Layers between the borings, from the top",
            *_table(_UNIT_HEAD, self.units),
            "",
            "Soils as modelled",
            *_table(_SOIL_HEAD, self.soils),
        ]
        if self.site.warnings:
            lines += [
                "",
                "Warnings",
                *(f"  - {shown_text(text, system)}" for text in self.site.warnings),
            ]
        for scheme in self.schemes:
            lines += [
                "",
                f"Scheme: {scheme.scheme}",
                f"  {counted(scheme.cells, 'cells')} in {counted(scheme.layers, 'layers')}",
            ]
            lines += [
                f"  {name}: {shown_text(value, system)}"
                for name, value in [*scheme.facts, *scheme.walls, *scheme.wells]
            ]
            if scheme.warnings:
                lines += [
                    "  Warnings",
                    *(f"    - {shown_text(text, system)}" for text in scheme.warnings),
                ]
            if scheme.assumptions:
                lines += [
                    "  Assumed",
                    *(f"    - {shown_text(text, system)}" for text in scheme.assumptions),
                ]
            lines += [f"  Drawn: {path}" for path in scheme.drawings]
            if not scheme.drawings:
                lines.append(f'  Not drawn; to see it add: --scheme "{scheme.scheme}"')
        return "\n".join([*lines, "", f"Nothing was run. Next: wellring run {self.site.file}"])


_KINDS = {"edge": "natural levels held at the source distance", "river": "river"}
_UNIT_HEAD = ("layer", "soil", "seen in", "mean thickness", "least", "most", "mean bottom")
_SOIL_HEAD = ("soil", "kh", "kv", "sy", "ss [1/m]", "weight [kN/m³]", "from the file")


def check_site(
    site_file: str | Path, scheme: str | None = None, out: str | Path | None = None
) -> CheckReport:
    """Read a site, lay every scheme out on its grid and draw it.

    Parameters
    ----------
    scheme : only the scheme of this name.
    out : folder for the drawings (default ``<site>.check`` beside the site file).

    Raises
    ------
    InputFaults : anything is wrong.
    """
    site = read_site(site_file)
    path = Path(site_file)
    folder = Path(out) if out is not None else path.parent / f"{path.stem}.check"
    layouts = lay_out_schemes(site, schemes_of(site, scheme))
    first = layouts[0]
    # One scheme is drawn: pictures of all would take longer than reading and checking everything.
    checks = [_scheme(layout, folder if layout is first else None) for layout in layouts]
    return CheckReport(site, _units(first), _soils(first), checks)


def _units(layout: Layout) -> list[tuple[str, ...]]:
    length = shown("length", layout.site.description.site.show)
    rows: list[tuple[str, ...]] = []
    for item in layout.strata.describe():
        rows.append(
            (
                item.unit,
                item.soil,
                f"{item.borings} borings",
                length.text(item.mean_thickness),
                length.text(item.min_thickness),
                length.text(item.max_thickness),
                length.text(item.mean_bottom),
            )
        )
    return rows


def _soils(layout: Layout) -> list[tuple[str, ...]]:
    system = layout.site.description.site.show
    rows: list[tuple[str, ...]] = []
    for name, values in layout.soils.items():
        given = layout.site.description.soils[name]
        told = [key for key, value in given if value is not None]
        rows.append(
            (
                name,
                conductivity_text(values.kh, system),
                conductivity_text(values.kv, system),
                f"{values.sy:g}",
                f"{values.ss:.1e}",
                f"{values.weight / 1e3:g}",
                ", ".join(told),
            )
        )
    return rows


def _scheme(layout: Layout, folder: Path | None) -> SchemeCheck:
    from wellring.model.runs.draw_layout import draw_layout

    description = layout.site.description
    length = shown("length", description.site.show)
    plan = layout.plan
    facts = [
        (
            "grid",
            f"{plan.shape[0]} × {plan.shape[1]} in plan, cells from "
            f"{length.text(float(min(plan.delr.min(), plan.delc.min())))} to "
            f"{length.text(float(max(plan.delr.max(), plan.delc.max())), 0)}, turned by "
            f"{np.degrees(plan.rotation):.1f}°",
        ),
        (
            "excavation",
            f"{shown('area', description.site.show).text(layout.site.outline.area)}, "
            "formations " + ", ".join(length.text(level) for level in formations(layout.site)),
        ),
        (
            "source of the water",
            f"{length.text(layout.source_distance, 0)} from the pit's edge, {layout.source_basis}",
        ),
    ]
    facts += [
        (item.name, f"{_KINDS[item.kind]}, {counted(item.node.size, 'cells')}")
        for item in layout.water.exchanges
    ]
    facts += [
        (item.name, f"held level, {counted(item.node.size, 'cells')}") for item in layout.water.held
    ]
    walls = []
    number = (
        list(description.schemes).index(layout.scheme)
        if layout.scheme in description.schemes
        else 0
    )
    for _, name, wall in scheme_walls(layout.site, number, layout.scheme):
        walls.append(
            (
                name,
                f"{wall.kind}, leaks by {wall_leakage(wall).basis}"
                + (" (ASSUMED)" if wall_leakage(wall).assumed else "")
                if wall.holds_water
                else f"{wall.kind}: holds soil, not water; no barrier",
            )
        )
    failed = NotWritten()
    drawings = []
    if folder:
        with failed.item("drawings"):
            drawings = draw_layout(layout, folder / safe_name(layout.scheme.name), failed)
    return SchemeCheck(
        layout.scheme.name,
        int(layout.ground.active.sum()),
        layout.ground.layers.present.shape[0],
        facts,
        _points(layout),
        walls,
        layout.assumptions,
        [*layout.warnings, *_far_neighbours(layout)],
        drawings,
        failed.items,
    )


def _far_neighbours(layout: Layout) -> list[str]:
    """Neighbours that lie wholly beyond the source distance, where the model ends."""
    found = layout.site.neighbours
    if found is None:
        return []
    far = shapely.distance(found.shapes, layout.site.outline) > layout.source_distance
    names = ", ".join(f"'{name}'" for name in found.name[far][:5])
    more = f" and {far.sum() - 5} more" if far.sum() > 5 else ""
    told = f"neighbours beyond the model, which will not be assessed: {names}{more}"
    return [told] if far.any() else []


_MOST_POINTS = 8
"""Points of one table told one by one; of more the first stands for all."""


def _points(layout: Layout) -> list[tuple[str, str]]:
    """(name, what it may do) of every drainage point, those of a large table together."""
    system = layout.site.description.site.show
    flow, length = shown("flow", system), shown("length", system)
    tables: dict[str, list[GridPoint]] = {}
    for point in layout.points:
        tables.setdefault(point.name.rpartition(" ")[0], []).append(point)
    found = []
    for points in tables.values():
        many = len(points) > _MOST_POINTS
        for point in points[:1] if many else points:
            level = f"filled up to {length.text(-point.lowest)} at most"
            if not point.injects:
                level = f"drawn down to {length.text(point.lowest)} at most"
            told = (
                f"{point.method} at ({point.x:.1f}, {point.y:.1f}), screen {point.screen[0]:g} to "
                f"{length.text(point.screen[1])}, {level}"
                + (f", {flow.text(point.wanted)} asked" if point.wanted else "")
                + (f", {_by_stage(point.rates, flow)} asked by stage" if point.rates else "")
                + (f", pump {flow.text(point.pump_capacity)}" if point.pump_capacity else "")
            )
            name = f"{point.name} … {points[-1].name}" if many else point.name
            found.append((name, f"{len(points)}, the first of them {told}" if many else told))
    return found


def _by_stage(rates: tuple[float, ...], flow: Shown) -> str:
    return ", ".join(flow.text(rate) for rate in rates)


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head))]
    return [
        "  " + "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True))
        for row in [head, *rows]
    ]
