"""The tables boring logs are read from, whatever file they stood in: text first, then numbers.

CSV files (`read_borings`) and AGS4 groups (`ags`) are
both turned into :class:`LogTable`, so that one set of checks serves both. :func:`typed` makes
numbers in metres of the text and names every cell of which none can be made.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from wellring.inputs.basics.faults import FaultLog

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["collars", "layers", "water"]

LISTED = 20
"""Faults of one sort that are listed one by one; the others are counted."""

TOLERANCE = 0.01
"""Round-off between two levels that should be one [m]; larger differences are faults."""

_PLACE = (-1e8, 1e8)
_LEVEL = (-2000.0, 9000.0)

#: Kind → number column → least and greatest value [m].
NUMBERS: dict[Kind, dict[str, tuple[float, float]]] = {
    "collars": {"x": _PLACE, "y": _PLACE, "ground": _LEVEL, "final": _LEVEL},
    "layers": {"top": _LEVEL, "bottom": _LEVEL},
    "water": {"level": _LEVEL, "zone_top": _LEVEL, "zone_bottom": _LEVEL},
}
#: Number columns whose cells may be blank.
OPTIONAL = ("final", "zone_top", "zone_bottom")
#: Kind → text columns; those a file lacks are blank.
TEXTS: dict[Kind, tuple[str, ...]] = {
    "collars": ("id", "datum"),
    "layers": ("id", "soil", "legend", "description"),
    "water": ("id", "date", "soil", "kind"),
}


@dataclass(frozen=True)
class LogTable:
    """One table of text cells.

    Parameters
    ----------
    kind : what the rows are.
    file : the file as the user named it.
    frame : text columns of :data:`NUMBERS` and :data:`TEXTS`, with `row` (as a spreadsheet counts
        rows, or the data row of an AGS group) and `line` (1-based line of the file).
    headings : column → heading as the file writes it.
    metres : number column → metres per unit of that column; 1 where left out.
    depth : whether `final`, `top` and `bottom`, or `level` are depths below ground and not
        levels; None where the headings do not tell.
    group : AGS group, or "".
    """

    kind: Kind
    file: str
    frame: pd.DataFrame
    headings: dict[str, str] = field(default_factory=dict)
    metres: dict[str, float] = field(default_factory=dict)
    depth: bool | None = False
    group: str = ""

    def row_text(self, row: int) -> str:
        """How row number `row` is named in messages."""
        return f"{self.group} row {row}" if self.group else f"row {row}"

    def place(self, row: int, column: str) -> str:
        """How the cell in `column` of row number `row` is named in messages."""
        return f"{self.row_text(row)}, column {self.headings.get(column, column)}"


@dataclass
class Reporter:
    """Turns rows of the gathered tables into faults that name file, row and column."""

    tables: Sequence[LogTable]
    faults: FaultLog
    faulty: set[str] = field(default_factory=set)
    """Borings with at least one fault in their collar or layers."""

    def report(
        self,
        rows: pd.DataFrame,
        column: str,
        values: Iterable[object],
        expected: str | Sequence[str],
        remedy: str | Sequence[str] = "",
    ) -> None:
        """Record one fault for each of `rows`, naming the cell in `column`.

        `expected` and `remedy` are one text for all rows or one for each row. After
        :data:`LISTED` rows the others are counted in one fault.
        """
        if rows.empty:
            return
        places = zip(rows["source"], rows["row"], rows["line"], values, strict=False)
        for index, (source, row, line, value) in enumerate(places):
            if index == LISTED:
                break
            table = self.tables[source]
            wanted = expected if isinstance(expected, str) else expected[index]
            advice = remedy if isinstance(remedy, str) else remedy[index]
            place = table.place(row, column)
            self.faults.add(table.file, place, value, wanted, advice, int(line))
        if len(rows) > LISTED:
            last = self.tables[rows["source"].iloc[LISTED]]
            more = f"{len(rows) - LISTED} more rows, column {last.headings.get(column, column)}"
            wanted = expected if isinstance(expected, str) else expected[0]
            self.faults.add(last.file, more, None, f"the same as above, such as {wanted}")
        held = np.array([table.kind != "water" for table in self.tables])
        self.faulty.update(rows["id"][held[rows["source"].to_numpy()]])

    def where(self, source: int, row: int) -> str:
        """How a row is named when another row's message refers to it."""
        return f"{self.tables[source].row_text(row)} of {self.tables[source].file}"


def log_text(path: Path, name: str, faults: FaultLog) -> str | None:
    """The text of a log file with "\\n" line ends, or None after recording why it has none.

    Text that is not UTF-8 is a fault, and is still read (as Windows-1252) so that what else
    is wrong with it is found in the same go.
    """
    if os.path.isdir(path):
        faults.add(name, "[borings] files", name, "a file", "It is a folder; name the files in it")
        return None
    if os.path.exists(path) and not os.path.isfile(path):  # a pipe or device may never end
        faults.add(name, "[borings] files", name, "a file, not a pipe or device")
        return None
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        remedy = f"Looked for {path}; paths are relative to the site file"
        faults.add(name, "[borings] files", name, "a file that exists", remedy)
        return None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        faults.add(name, "[borings] files", name, "a file that can be read", reason)
        return None
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in raw:
        line = raw.count(b"\n", 0, max(raw.find(b"\0"), 0)) + 1
        faults.add(
            name, "encoding", None, "UTF-8 text, not binary or UTF-16", "Save it as UTF-8", line
        )
        return None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        start = raw.rfind(b"\n", 0, error.start) + 1
        place = f"byte {error.start - start + 1} of the line"
        found = raw[error.start : error.end].hex(" ")
        faults.add(name, place, found, "UTF-8 text", "Save the file with UTF-8 encoding", line)
        text = raw.decode("cp1252", errors="replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        faults.add(name, "whole file", None, "a header and rows", "The file is empty")
        return None
    return text


def typed(kind: Kind, reporter: Reporter) -> pd.DataFrame:
    """All rows of one kind as one frame: text stripped, numbers in metres (NaN where blank).

    Besides the columns of the tables: `source` (index of the table), `row`, `line`, `depth`
    (the row gives depths), `ok` (all its numbers could be read) and for each number column
    `<column>_text`, the cell as written. Rows without an id are reported and left out.
    """
    import pandas as pd

    parts = []
    for source, table in enumerate(reporter.tables):
        if table.kind == kind:
            parts.append(_typed_table(source, table, reporter))
    if not parts:
        numbers = {name: pd.Series(dtype=float) for name in NUMBERS[kind]}
        texts = {f"{name}_text": pd.Series(dtype=str) for name in NUMBERS[kind]}
        flags = {name: pd.Series(dtype=bool) for name in ("depth", "ok")}
        counts = {name: pd.Series(dtype=int) for name in ("source", "row", "line")}
        names = {name: pd.Series(dtype=str) for name in TEXTS[kind]}
        return pd.DataFrame({**names, **numbers, **texts, **flags, **counts})
    return pd.concat(parts, ignore_index=True)


def _typed_table(source: int, table: LogTable, reporter: Reporter) -> pd.DataFrame:
    import pandas as pd

    raw = table.frame
    part = pd.DataFrame({"source": source, "row": raw["row"], "line": raw["line"]}, raw.index)
    part["ok"] = True
    for name in TEXTS[table.kind]:
        part[name] = raw[name].str.strip() if name in raw else ""
    nameless = part[part["id"] == ""]
    reporter.report(nameless, "id", [""] * len(nameless), "the name of a boring", "Fill in the id")
    part = part[part["id"] != ""]
    raw = raw.loc[part.index]
    if table.kind == "water":
        dry = raw["level"].str.strip().str.casefold() == "dry"
        if dry.any():
            row = table.row_text(raw["row"][dry].iloc[0])
            reporter.faults.warn(
                f"{table.file}: {int(dry.sum())} dry readings left out, the first in {row}"
            )
            part, raw = part[~dry].copy(), raw[~dry]
    part = part.copy()
    for name, limits in NUMBERS[table.kind].items():
        if name in raw:
            text = raw[name].str.strip()
            numbers = _numbers(part, name, text, limits, table, reporter)
        else:
            text, numbers = pd.Series("", raw.index), pd.Series(np.nan, raw.index)
        part[name], part[f"{name}_text"] = numbers, text
    depth = table.depth
    if depth is None:
        depth = _grows_from_zero(part)
        if not depth:
            row = part.head(1)
            expected = "depths that grow downward from 0 in columns called plainly top and bottom"
            remedy = (
                "Call the columns top_depth and bottom_depth, or top_level and bottom_level, "
                "so that there is no doubt"
            )
            reporter.report(row, "top", row["top_text"], expected, remedy)
            reporter.faulty.update(part["id"])
            part["ok"] = False
    part["depth"] = bool(depth)
    return part


def _numbers(
    part: pd.DataFrame,
    name: str,
    text: pd.Series,
    limits: tuple[float, float],
    table: LogTable,
    reporter: Reporter,
) -> pd.Series:
    """`text` as numbers in metres; what is not a number within `limits` is reported."""
    import pandas as pd

    numbers = pd.to_numeric(text, errors="coerce").astype(float) * table.metres.get(name, 1.0)
    blank = text == ""
    finite = np.isfinite(numbers)
    bad = ~finite & ~blank if name in OPTIONAL else ~finite
    rows = part[bad]
    remedies = [_remedy(cell, table.headings.get(name, name)) for cell in text[bad].head(LISTED)]
    reporter.report(rows, name, text[bad], "a finite number", remedies)
    low, high = limits
    beyond = finite & ~numbers.between(low, high)
    expected = f"a number between {low:g} and {high:g} m"
    reporter.report(part[beyond], name, text[beyond], expected, "Check its unit")
    part.loc[bad | beyond, "ok"] = False
    return numbers.where(finite)


def _remedy(cell: str, heading: str) -> str:
    """What to do about a cell that is no number."""
    if cell == "":
        return "The cell is blank; fill it in or delete the row"
    if re.fullmatch(r"[-+]?\d+(,\d+)+", cell):
        return "Write a decimal point, and no thousands separators"
    if re.match(r"[-+]?[\d.]+\s*[A-Za-z'\"]", cell):
        return f"Write plain numbers, with the unit in the heading, such as '{heading} [ft]'"
    if cell.casefold() in ("nan", "inf", "-inf", "+inf", "infinity", "-infinity"):
        return "Fill in a measured value or delete the row"
    return "Check that the columns stand under their headings"


def _grows_from_zero(part: pd.DataFrame) -> bool:
    """Whether most borings start at 0 and most of their rows go on to greater values."""
    rows = part[part["ok"]]
    if rows.empty:
        return False
    starts = rows.groupby("id")["top"].min().abs() <= TOLERANCE
    return bool(starts.mean() > 0.5 and (rows["bottom"] > rows["top"]).mean() > 0.5)
