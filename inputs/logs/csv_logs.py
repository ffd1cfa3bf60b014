"""CSV files of boring logs to :class:`~wellring.inputs.logs.log_tables.LogTable`.

Headings are described in :mod:`wellring.inputs.logs.read_borings`.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.units import to_si
from wellring.inputs.logs.log_tables import LISTED, NUMBERS, Kind, LogTable

if TYPE_CHECKING:
    import pandas as pd

#: Kind → columns that every file of the kind has.
_ALWAYS: dict[Kind, tuple[str, ...]] = {
    "collars": ("id", "x", "y", "ground"),
    "layers": ("id", "soil"),
    "water": ("id", "date"),
}
#: Kind → sets of columns of which a file has one: heading → (column, and whether it is a depth).
_EITHER: dict[Kind, tuple[tuple[dict[str, str], bool | None], ...]] = {
    "collars": (({"final_depth": "final"}, True), ({"final_level": "final"}, False)),
    "layers": (
        ({"top_depth": "top", "bottom_depth": "bottom"}, True),
        ({"top_level": "top", "bottom_level": "bottom"}, False),
        ({"top": "top", "bottom": "bottom"}, None),
    ),
    "water": (({"level": "level"}, False), ({"depth": "level"}, True)),
}
_OPTIONAL: dict[Kind, tuple[str, ...]] = {
    "collars": ("datum",),
    "layers": (),
    "water": ("soil", "kind"),
}
_HEADING = re.compile(r"^(.*?)\s*(?:[\[(]\s*([^\[\]()]*?)\s*[\])])?\s*$", re.DOTALL)
_DECIMAL_COMMA = r"\s*[-+]?\d*,\d+\s*"


def read_csv_log(text: str, name: str, faults: FaultLog) -> list[LogTable] | None:
    """The table of one CSV file, or None after recording why it cannot be read.

    Parameters
    ----------
    text : the whole file, with "\\n" line ends.
    name : the file as the user named it.
    faults : receives what is wrong with the header and with the rows as rows of cells.
    """
    blank_lines = len(text[: len(text) - len(text.lstrip())].split("\n")) - 1
    text = text.split("\n", blank_lines)[blank_lines]
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    header = [cell.strip() for cell in next(csv.reader([first], delimiter=delimiter))]
    line = blank_lines + 1
    names, units = _headings(header)
    kind = _kind(names)
    if kind is None:
        faults.add(
            name,
            "header",
            ", ".join(header),
            "the columns of collars (id, x, y, ground), of layers (id, top_depth, bottom_depth, "
            "soil) or of water readings (id, date, level)",
            "Give the columns one of these sets of names",
            line,
        )
        return None
    columns, depth = _columns(kind, names, header, name, line, faults)
    metres = _metres(columns, names, units, header, name, line, faults)
    if columns is None or metres is None:
        return None
    frame = _cells(text, delimiter, len(header), line, name, faults)
    if frame is None:
        return None
    if frame.empty:
        faults.add(name, "rows", None, f"rows of {kind} below the header", "The file has none")
        return None
    wanted: dict[object, str] = {names.index(key): column for key, column in columns.items()}
    frame = frame[[*wanted, "row", "line"]].rename(columns=wanted)
    if delimiter != ",":
        _read_decimal_commas(frame, kind, name, faults)
    headings = {column: header[names.index(key)] for key, column in columns.items()}
    return [LogTable(kind, name, frame, headings, metres, depth)]


def _headings(header: list[str]) -> tuple[list[str], list[str]]:
    """Names in lower case with "_" for blanks, and the units in brackets behind them."""
    names, units = [], []
    for cell in header:
        match = _HEADING.match(cell)
        name, unit = (match.group(1), match.group(2)) if match else (cell, None)
        names.append(re.sub(r"[\s_-]+", "_", name.strip().casefold()))
        units.append(unit or "")
    return names, units


def _kind(names: list[str]) -> Kind | None:
    """What a file with these columns holds."""
    edges = {column for either, _ in _EITHER["layers"] for column in either}
    if edges & set(names):
        return "layers"
    if {"x", "y", "ground"} & set(names):
        return "collars"
    if {"level", "depth", "date"} & set(names):
        return "water"
    return "layers" if "soil" in names else None


def _columns(
    kind: Kind, names: list[str], header: list[str], name: str, line: int, faults: FaultLog
) -> tuple[dict[str, str] | None, bool | None]:
    """Heading → column of the table, and whether depths are given. None where columns lack."""
    before = len(faults.faults)
    columns = {column: column for column in (*_ALWAYS[kind], *_OPTIONAL[kind]) if column in names}
    lacking = [column for column in _ALWAYS[kind] if column not in names]
    choices = [(either, depth) for either, depth in _EITHER[kind] if set(either) & set(names)]
    sets = " or ".join(" and ".join(either) for either, _ in _EITHER[kind])
    depth: bool | None = False
    if len(choices) > 1:
        found = ", ".join(name for either, _ in choices for name in either if name in names)
        remedy = "Keep one set of columns, so that depths and levels cannot contradict each other"
        faults.add(name, "header", found, f"only one of {sets}", remedy, line)
    elif choices:
        either, depth = choices[0]
        columns |= {heading: column for heading, column in either.items() if heading in names}
        lacking += [heading for heading in either if heading not in names]
    elif kind != "collars":
        lacking.append(sets)
    for column in lacking:
        remedy = nearest(column, names) if difflib.get_close_matches(column, names) else ""
        expected = f"a column {column} in a file of {kind}"
        faults.add(name, "header", ", ".join(header), expected, remedy or "Add it", line)
    for heading in columns:
        if names.count(heading) > 1:
            remedy = "Take one of the columns out"
            faults.add(name, "header", heading, "each column once", remedy, line)
    known = [*_ALWAYS[kind], *_OPTIONAL[kind], *(key for e, _ in _EITHER[kind] for key in e)]
    for heading in set(names) - set(columns):
        unused = [column for column in known if column not in names]
        close = difflib.get_close_matches(heading, unused, n=1, cutoff=0.8)
        if close:
            faults.warn(f"{name}: column {heading} is not read; did you mean {close[0]}?")
    return (columns if len(faults.faults) == before else None), depth


def _metres(
    columns: dict[str, str] | None,
    names: list[str],
    units: list[str],
    header: list[str],
    name: str,
    line: int,
    faults: FaultLog,
) -> dict[str, float] | None:
    """Column → metres per unit of its heading; None where a unit is not one of length."""
    metres: dict[str, float] = {}
    known = True
    for heading, column in (columns or {}).items():
        index = names.index(heading)
        if not units[index]:
            continue
        try:
            metres[column] = to_si(f"1 {units[index]}", "m")
        except ValueError:
            expected = "a unit of length in the brackets, such as [m] or [ft]"
            faults.add(name, f"header, column {header[index]}", units[index], expected, "", line)
            known = False
    return metres if known else None


def _cells(
    text: str, delimiter: str, width: int, line: int, name: str, faults: FaultLog
) -> pd.DataFrame | None:
    """Cells of all rows below the header as text, with `row` and `line`, without empty rows."""
    import pandas as pd

    try:
        frame = pd.read_csv(
            io.StringIO(text),
            sep=delimiter,
            header=None,
            dtype=str,
            na_filter=False,
            skip_blank_lines=False,
        )
    except pd.errors.ParserError as error:
        if not _report_long_rows(text, delimiter, width, line, name, faults):
            reason = str(error).replace("\n", " ")
            remedy = "Look for a quotation mark that is not closed"
            faults.add(name, "rows", reason, "rows of cells", remedy)
        return None
    breaks = np.zeros(len(frame), dtype=int)
    if '"' in text:
        for column in range(width):
            breaks += frame[column].str.count("\n").to_numpy()
    frame["row"] = np.arange(len(frame)) + line
    frame["line"] = frame["row"] + np.concatenate([[0], np.cumsum(breaks)[:-1]])
    filled = (frame[list(range(width))] != "").any(axis=1)
    return frame[filled].iloc[1:]


def _read_decimal_commas(frame: pd.DataFrame, kind: Kind, name: str, faults: FaultLog) -> None:
    """Write "9,5" as "9.5" in the number columns, which tells the two uses of a comma apart."""
    found = 0
    for column in set(NUMBERS[kind]) & set(frame.columns):
        comma = frame[column].str.fullmatch(_DECIMAL_COMMA).astype(bool)
        found += int(comma.sum())
        frame[column] = frame[column].mask(comma, frame[column].str.replace(",", "."))
    if found:
        faults.warn(f"{name}: {found} numbers with a comma are read as decimals, 9,5 as 9.5")


def _report_long_rows(
    text: str, delimiter: str, width: int, line: int, name: str, faults: FaultLog
) -> bool:
    """Name the rows with more cells than the header; whether there is one."""
    rows = csv.reader(io.StringIO(text), delimiter=delimiter)
    found = 0
    try:
        for row, cells in enumerate(rows):
            if len(cells) > width and found < LISTED:
                found += 1
                expected = f"{width} cells, one for each heading"
                remedy = "Put text that holds the separator in quotation marks"
                at = rows.line_num + line - 1
                faults.add(name, f"row {row + line}", f"{len(cells)} cells", expected, remedy, at)
    except csv.Error:
        return found > 0
    return found > 0
