"""One headline answer, and what one subject of assessment adds to a run's answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MASS_BALANCE_LIMIT = 0.1
"""Percent; an answer whose water budget closes worse than this carries a warning."""
HELD = 1.0 + 1e-9
"""Share of a limit up to which it holds, rounding aside."""
Table = tuple[list[str], list[Sequence[object]]]
"""Headings with units, and rows in SI."""


def number(value: float) -> float | None:
    """A number for an answer or a table: None where it is not finite."""
    return float(value) if np.isfinite(value) else None


def counted(count: float, things: str) -> str:
    """How many of what: "1 pump", "12 pumps"; `things` is a plural that ends in "s"."""
    told = f"{count:,.0f}"
    return f"{told} {things.removesuffix('s') if told == '1' else things}"


def yes_no(value: bool | None) -> str | None:
    """A flag for a table; None where it is not judged."""
    return None if value is None else "yes" if value else "no"


@dataclass(frozen=True)
class Answer:
    """One headline number in SI: `ok` is None where no limit applies."""

    value: float | str | None
    unit: str
    basis: str
    label: str
    kind: str = ""
    limit: float | None = None
    ok: bool | None = None


@dataclass(frozen=True)
class PlanLayer:
    """A field over the plan that the report shows as a layer to be switched on.

    Parameters
    ----------
    label : what it is, in words.
    kind : how it is shown, a word of :func:`wellring.inputs.basics.units.shown` ("length", "level",
        "settlement" …), or "share" for a number from 0 to 1.
    stages : by the stage's folder: values (n,) in SI, NaN where there are none.
    """

    label: str
    kind: str
    stages: dict[str, Floats]


@dataclass(frozen=True)
class Curves:
    """Lines over one axis, shown as `kind` (or in `unit`, where no kind fits).

    Parameters
    ----------
    x, lines : (m,) places on the axis, and by name (m,) values in SI; NaN where there is none.
    axis, axis_kind : what `x` is, and how it is shown; "" leaves the numbers as they are.
    marks : places on the axis that are drawn as upright lines, by name.
    stepped : values hold until the next place.
    dots : names of lines that are drawn as dots only.
    """

    label: str
    kind: str
    x: Floats
    lines: dict[str, Floats]
    axis: str = "day"
    axis_kind: str = ""
    unit: str = ""
    marks: dict[str, float] = field(default_factory=dict)
    stepped: bool = False
    dots: frozenset[str] = frozenset()


class TimeSeries(Curves):
    """Curves over days: label, kind, day (m,), lines."""


@dataclass(frozen=True)
class Spans:
    """What a number may be, one bar a row: from its first to its second end.

    Parameters
    ----------
    rows : by name (first end, middle, second end) in SI; the first may be the greater one.
    ends : what the two ends are, in words.
    middle : what the number between them is.
    """

    label: str
    kind: str
    rows: dict[str, tuple[float, float, float]]
    ends: tuple[str, str]
    middle: str
    unit: str = ""
    marks: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class PlanMark:
    """A thing on the plan that tells about itself: a neighbour, a heave-prone place …

    Parameters
    ----------
    corners : (m, 2) site metres; one for a point, a closed ring for an area, else a line.
    notes : text by the stage's folder; that of "" holds for all stages.
    """

    name: str
    what: str
    corners: Floats
    notes: dict[str, str] = field(default_factory=dict)


@dataclass
class Part:
    """What one subject (stability, settlement, operation …) adds to a run.

    Parameters
    ----------
    answers : headline numbers by name; names of one stage begin with the stage's folder.
    warnings : sentences for the user, also where a method leaves its range of validity.
    assumptions : values or methods that the user did not give, each with its source.
    tables : name of the CSV file without its ending → headings and rows.
    title : heading in the report; without one it is made from the subject's function name.
    fields, series, spans, marks : what the report shows on its plan, as curves and as bars, by a
        short name.
    """

    answers: dict[str, Answer] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    tables: dict[str, Table] = field(default_factory=dict)
    title: str = ""
    fields: dict[str, PlanLayer] = field(default_factory=dict)
    series: dict[str, Curves] = field(default_factory=dict)
    spans: dict[str, Spans] = field(default_factory=dict)
    marks: list[PlanMark] = field(default_factory=list)
