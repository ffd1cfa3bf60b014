"""Values that change in time (a river's stage, a held level, rain), from a CSV of days."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from wellring.inputs.basics.csv_rows import read_rows
from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.basics.named_files import find_file

Column = Literal["stage", "head", "rate"]

_UNIT = {"stage": "m", "head": "m", "rate": "m/s"}
_RANGE = {"stage": (-2000.0, 9000.0), "head": (-2000.0, 9000.0), "rate": (0.0, 1e-4)}
_WORDS = {
    "stage": "a level between -2,000 and 9,000 m",
    "head": "a level between -2,000 and 9,000 m",
    "rate": "a rate between 0 and 1e-4 m/s, such as 12 mm/day",
}


@dataclass(frozen=True)
class Series:
    """A value by day.

    Parameters
    ----------
    file : as the user named it.
    day : days, rising.
    value : SI values on those days.
    holds : each value holds until the next day (rates); otherwise straight lines join them.
    start : day on which the run begins, or None where it is not followed in time.
    """

    file: str
    day: tuple[float, ...]
    value: tuple[float, ...]
    holds: bool
    start: float | None = None

    @property
    def usual(self) -> float:
        """What natural and steady states take: the mean before the run begins, else of all days."""
        if self.start is not None and self.day[0] < self.start:
            steps = self.between(self.day[0], self.start)
            day, value = (np.array(column) for column in zip(*steps, strict=True))
        else:
            day, value = np.array(self.day), np.array(self.value)
        middle = value[:-1] if self.holds else 0.5 * (value[:-1] + value[1:])
        return float(np.sum(np.diff(day) * middle) / (day[-1] - day[0]))

    def between(self, begins: float, ends: float) -> list[tuple[float, float]]:
        """(days since `begins`, value) from `begins` to `ends`; the end values go on beyond."""
        inner = [day for day in self.day if begins < day < ends]
        days = np.array([begins, *inner, ends])
        if self.holds:
            at = np.clip(np.searchsorted(self.day, days, side="right") - 1, 0, None)
            values = np.array(self.value)[at]
        else:
            values = np.interp(days, self.day, self.value)
        return list(zip((days - begins).tolist(), values.tolist(), strict=True))


def read_series(
    ref: str,
    column: Column,
    folder: Path,
    faults: FaultLog,
    site_file: str,
    place: str,
    start: float | None = None,
) -> Series | None:
    """The series of a CSV with the columns `day` and `column`, or None with faults added.

    Values may carry a unit ("2.3 m", "8 ft", "12 mm/day"); numbers alone are SI.
    """
    expected = f"a number with its unit, or a CSV file with the columns day and {column}"
    path = find_file(ref, folder, (".csv",), expected, faults, site_file, place)
    if path is None:
        return None
    rows = read_rows(path, ("day", column), (), faults, ref)
    if rows is None:
        return None
    before = len(faults.faults)
    low, high = _RANGE[column]
    days: list[float] = []
    values: list[float] = []
    for row in rows:
        day = _day(row.text("day"), row.decimal_comma)
        value = row.quantity(column, _UNIT[column], faults, ref)
        if day is None:
            faults.add(ref, "column day", row.text("day"), "a number of days", line=row.line)
        elif days and day <= days[-1]:
            faults.add(
                ref,
                "column day",
                f"{day:g}",
                f"a day after {days[-1]:g}, that of the row before",
                "Sort the rows by day and leave each day in once",
                row.line,
            )
        if value is not None and not low <= value <= high:
            faults.add(ref, f"column {column}", row.text(column), _WORDS[column], line=row.line)
        days.append(days[-1] if day is None and days else day or 0.0)
        values.append(value or 0.0)
    if len(rows) < 2:
        faults.add(ref, "table", "one row", "at least two days", "Give a number in its place")
    if len(faults.faults) > before:
        return None
    return Series(ref, tuple(days), tuple(values), column == "rate", start)


def _day(text: str, decimal_comma: bool) -> float | None:
    try:
        value = float(text.replace(",", ".") if decimal_comma else text)
    except ValueError:
        return None
    return value if math.isfinite(value) and abs(value) < 1e5 else None
