"""Measured levels, drawdowns and flows, from a CSV: what a model of the site is fitted to."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from wellring.inputs.basics.csv_rows import Row, read_rows
from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.named_files import find_file
from wellring.inputs.basics.units import DAY, to_si
from wellring.inputs.site.names import NATURAL
from wellring.inputs.site.site import SiteDescription

LEVEL_ERROR = 0.05
"""Standard error [m] of a level or drawdown where none is given (common practice, no source)."""
FLOW_ERROR = 0.1
"""Standard error of a flow, as a part of it, where none is given (common practice, no source)."""
_LEAST_ERROR = 1e-6
"""[m³/s or m]: what is measured as nought is not known better."""

Kind = Literal["head", "drawdown", "flow"]


@dataclass(frozen=True)
class Measured:
    """A kind of measurement: its SI unit, how it is shown, what it is called, how well it is known.

    Parameters
    ----------
    shown : a word of :func:`wellring.inputs.basics.units.shown`.
    name, names : for one and, with a capital, for several.
    error, share : usual standard error, in SI or as a part of the value.
    """

    unit: str
    shown: str
    name: str
    names: str
    error: float | None = None
    share: float | None = None


KINDS: dict[Kind, Measured] = {
    "head": Measured("m", "level", "level", "Levels", error=LEVEL_ERROR),
    "drawdown": Measured("m", "length", "drawdown", "Drawdowns", error=LEVEL_ERROR),
    "flow": Measured("m3/s", "flow", "flow", "Flows", share=FLOW_ERROR),
}
_COLUMNS = ("point", "stage", "day", "value", "error", "weight", "at_least", "at_most")


@dataclass(frozen=True)
class Observation:
    """One measurement, or one that is to be foretold; SI.

    Parameters
    ----------
    point : a named point or well; "" for all water that is pumped.
    stage : 0 before the work, then 1, 2 … in the order of the dig; None where a day is given.
    day : of the site's own count; None where a stage is given.
    value : None where nothing was measured (yet).
    error : standard error; `share`, where it was given as a part of the value, that part.
    weight : on the residual over its error; 0 keeps a measurement out of the fit, to test it.
    at_least, at_most : what the value must not pass, or None.
    """

    line: int
    kind: Kind
    point: str
    stage: int | None
    day: float | None
    value: float | None
    error: float
    weight: float = 1.0
    at_least: float | None = None
    at_most: float | None = None
    share: float | None = None

    def error_at(self, value: float) -> float:
        """Standard error of a reading of `value`."""
        return self.error if self.share is None else max(self.share * abs(value), _LEAST_ERROR)

    @property
    def unit(self) -> str:
        """The SI unit of its value."""
        return KINDS[self.kind].unit

    @property
    def fitted(self) -> bool:
        """Whether the fit counts it."""
        return self.value is not None and self.weight > 0

    def where(self, stages: tuple[str, ...]) -> str:
        """In words: "head at P1, day 3"; `stages` are the names of the dig's stages."""
        at = f" at {self.point}" if self.point else ""
        if self.day is not None:
            return f"{self.kind}{at}, day {self.day:.4g}"
        return f"{self.kind}{at}, {(NATURAL, *stages)[self.stage or 0]}"


def read_observations(
    ref: str, folder: Path, site: SiteDescription, faults: FaultLog, file: str
) -> tuple[tuple[Observation, ...], str]:
    """The rows of a CSV of measurements, and its SHA-256.

    Columns: `kind` (head, drawdown or flow), `point`, `stage` or `day`, `value`, `error` (standard
    error, or "5 %"), `weight`, `at_least`, `at_most`. Values take units; a day alone is in days,
    or is written "12 min". Without a value a row is foretold, not fitted.

    Raises
    ------
    InputFaults : anything in it is wrong, all told at once.
    """
    path = find_file(
        ref, folder, (".csv",), "a CSV file of measurements", faults, file, "match.observations"
    )
    faults.raise_if_any()
    assert path is not None
    rows = read_rows(path, ("kind", "value"), _COLUMNS, faults, ref)
    faults.raise_if_any()
    assert rows is not None
    reader = _Reader(ref, site, faults)
    found = [reader.observation(row) for row in rows]
    read = tuple(item for item in found if item is not None)
    if not faults.faults and not any(item.fitted for item in read):
        faults.add(ref, "column value", None, "at least one measured value of a weight above 0")
    faults.raise_if_any()
    return read, hashlib.sha256(path.read_bytes()).hexdigest()


class _Reader:
    def __init__(self, ref: str, site: SiteDescription, faults: FaultLog):
        self.ref, self.site, self.faults = ref, site, faults
        self.stages = (NATURAL, *(stage.name for stage in site.excavation.stages))

    def _fault(self, row: Row, column: str, expected: str, remedy: str = "") -> None:
        text = row.text(column) or "(empty)"
        self.faults.add(self.ref, f"column {column}", text, expected, remedy, row.line)

    def observation(self, row: Row) -> Observation | None:
        """The row, or None with faults."""
        before = len(self.faults.faults)
        word = row.text("kind")
        kind = next((known for known in KINDS if known == word), None)
        if kind is None:
            *first, last = KINDS
            self._fault(row, "kind", f"{', '.join(first)} or {last}", nearest(word, KINDS))
            return None
        if kind != "flow" and not row.text("point"):
            self._fault(row, "point", "the name of one of the [[points]], or of a well")
        stage, day = self._when(row)
        value = self._quantity(row, "value", kind)
        error, share = self._error(row, kind, value)
        weight = 1.0
        if row.text("weight"):
            number = row.quantity("weight", "1", self.faults, self.ref)
            weight = number if number is not None else 1.0
            if not 0 <= weight <= 1e6:
                self._fault(row, "weight", "a weight from 0 to 1e6")
        least, most = (self._quantity(row, name, kind) for name in ("at_least", "at_most"))
        if least is not None and most is not None and least >= most:
            self._fault(row, "at_least", "a value below at_most", "Are the two swapped?")
        if len(self.faults.faults) > before:
            return None
        return Observation(
            row.line, kind, row.text("point"), stage, day, value, error, weight, least, most, share
        )

    def _when(self, row: Row) -> tuple[int | None, float | None]:
        stage, day = row.text("stage"), row.text("day")
        if bool(stage) == bool(day):
            self.faults.add(self.ref, "row", f"{stage}{day}" or None,
                            "either a stage (steady) or a day (in time)",
                            "Fill one of the columns stage and day.", row.line)  # fmt: skip
            return None, None
        if stage:
            if stage not in self.stages:
                self._fault(row, "stage", "the name of a stage", nearest(stage, self.stages))
                return None, None
            return self.stages.index(stage), None
        if self.site.time is None:
            remedy = "Add a [time] table to the site file, and a day to every stage."
            self._fault(row, "day", "a stage, since the site is not followed in time", remedy)
            return None, None
        number = _day(day.replace(",", ".") if row.decimal_comma else day)
        if number is None:
            self._fault(row, "day", 'a day such as 3.5, or a time such as "12 min"')
        return None, number

    def _quantity(self, row: Row, column: str, kind: Kind) -> float | None:
        if not row.text(column):
            return None
        return row.quantity(column, KINDS[kind].unit, self.faults, self.ref)

    def _error(self, row: Row, kind: Kind, value: float | None) -> tuple[float, float | None]:
        """Standard error, and the part of the value that it is, if it was given so."""
        text = row.text("error")
        error, share = KINDS[kind].error, KINDS[kind].share
        if text.endswith("%"):
            error, share = None, row.quantity("error", "1", self.faults, self.ref)
        elif text:
            error, share = row.quantity("error", KINDS[kind].unit, self.faults, self.ref), None
        if (share is not None and not share > 0) or (error is not None and not error > 0):
            self._fault(row, "error", "a standard error above 0")
        elif share is not None:
            return max(share * abs(value or 0.0), _LEAST_ERROR), share
        return error or _LEAST_ERROR, None


def _day(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        try:
            value = to_si(text, "s") / DAY
        except ValueError:
            return None
    return value if math.isfinite(value) and abs(value) < 1e5 else None
