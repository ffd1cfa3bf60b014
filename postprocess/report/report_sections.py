"""Sections of a report: the tables and drawings of one subject, made from its part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from wellring.postprocess.figures.style import plain
from wellring.postprocess.report.report_fields import shown_as
from wellring.postprocess.report.report_tables import PageTable, answer_table, csv_table
from wellring.postprocess.run.answer import Answer, Curves, Part, Spans, Table

MOST_PLACES = 600
"""Points of a curve in the page at most; more are thinned evenly."""


@dataclass
class Subject:
    """A section of the report: one subject's notes, drawings (by their key) and tables.

    `unfolded` tables stand open, the others are opened by the reader.
    """

    title: str
    anchor: str
    tables: list[PageTable] = field(default_factory=list)
    charts: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unfolded: int = 1


class Sections:
    """Makes sections, and collects their drawings for the page.

    Parameters
    ----------
    system : units shown, "metric" or "us".
    stages : name of each stage by its folder.
    """

    def __init__(self, system: str, stages: Mapping[str, str]):
        self.system = system
        self.stages = dict(stages)
        self.charts: dict[str, dict[str, Any]] = {}

    def subject(
        self,
        title: str,
        groups: Iterable[Mapping[str, Answer]] = (),
        tables: Mapping[str, Table] | None = None,
    ) -> Subject:
        """A section of answers and tables."""
        found = Subject(plain(title), _anchor(title))
        for answers in groups:
            table = answer_table(self.system, self.stages, "answers", answers)
            if table is not None:
                found.tables.append(table)
        found.tables += [
            csv_table(self.system, name, table)
            for name, table in (tables or {}).items()
            if table[1]
        ]
        return found

    def parts(self, parts: Sequence[Part]) -> list[Subject]:
        """A section for each part that has something to show."""
        return [
            self.part(part)
            for part in parts
            if part.answers or part.tables or part.series or part.spans
        ]

    def part(self, part: Part, unfolded: int = 1) -> Subject:
        """The section of one part."""
        found = self.subject(part.title, [part.answers], part.tables)
        found.unfolded = unfolded
        for name, spans in part.spans.items():
            found.charts.append(self._chart(name, self._spans(spans)))
        for name, curves in part.series.items():
            found.charts.append(self._chart(name, self._curves(curves)))
        return found

    def _chart(self, name: str, content: dict[str, Any]) -> str:
        key = f"{len(self.charts)}-{name}"
        self.charts[key] = content
        return key

    def _curves(self, item: Curves) -> dict[str, Any]:
        unit = shown_as(item.kind, self.system, item.unit)
        along = shown_as(item.axis_kind, self.system)
        x = np.asarray(item.x, dtype=float) * along.factor
        step = max(1, int(np.ceil(len(x) / MOST_PLACES)))
        kept = np.unique(np.append(np.arange(0, len(x), step), max(len(x) - 1, 0)))[: len(x)]
        return {
            "type": "curves",
            "label": plain(item.label, 90),
            "unit": unit.unit,
            "digits": unit.digits,
            "axis": item.axis + (f" [{along.unit}]" if along.unit else ""),
            "stepped": item.stepped,
            "zero": item.kind != "level",
            "x": [float(f"{place:.7g}") for place in x[kept]],
            "lines": [
                {
                    "name": plain(name),
                    "dots": name in item.dots,
                    "values": [_number(v * unit.factor) for v in np.asarray(values, float)[kept]],
                }
                for name, values in item.lines.items()
            ],
            "marks": _marks(item.marks, along.factor),
        }

    def _spans(self, item: Spans) -> dict[str, Any]:
        unit = shown_as(item.kind, self.system, item.unit)
        return {
            "type": "spans",
            "label": plain(item.label, 90),
            "unit": unit.unit,
            "digits": unit.digits,
            "ends": [plain(text, 60) for text in item.ends],
            "middle": plain(item.middle, 60),
            "whole": item.kind == "share",
            "rows": [
                {"name": plain(name, 60), "values": [_number(v * unit.factor) for v in values]}
                for name, values in item.rows.items()
            ],
            "marks": _marks(item.marks, unit.factor),
        }


def _marks(marks: Mapping[str, float], factor: float) -> list[dict[str, Any]]:
    return [{"name": plain(name, 60), "at": _number(at * factor)} for name, at in marks.items()]


def _number(value: float) -> float | None:
    return float(f"{value:.6g}") if np.isfinite(value) else None


def _anchor(title: str) -> str:
    return "s-" + "".join(c if c.isascii() and c.isalnum() else "-" for c in title.lower())
