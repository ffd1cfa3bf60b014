"""Rows of a CSV table with their line numbers, so that a fault can say where it stands."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.units import to_si


@dataclass(frozen=True)
class Row:
    """One row: its 1-based `line` in the file and its `cells` by lower-case column name."""

    line: int
    cells: dict[str, str]
    decimal_comma: bool = False

    def text(self, column: str) -> str:
        """The cell without blanks around it, "" where the column is missing."""
        return self.cells.get(column, "")

    def quantity(self, column: str, unit: str, faults: FaultLog, file: str | Path) -> float | None:
        """The cell as a quantity in the SI unit `unit`; a fault and None when it is not one."""
        text = self.text(column)
        value = text.replace(",", ".") if self.decimal_comma else text
        try:
            return to_si(value, unit)
        except ValueError as error:
            expected = str(error).removeprefix("expected ")
            shown = text or "(empty)"
            faults.add(file, f"column {column}", shown, expected, line=self.line)
            return None


def read_rows(
    path: Path,
    needed: Collection[str],
    optional: Collection[str],
    faults: FaultLog,
    shown: str | Path,
) -> list[Row] | None:
    """The rows of a CSV file with a header line.

    Commas, semicolons or tabs part the cells, whichever the header has most of; with semicolons
    or tabs a decimal comma is read too. Column names may be in any case; columns that are neither
    `needed` nor `optional` are left out with a warning. Empty lines are skipped.

    Parameters
    ----------
    shown : the file as the user named it, for messages.

    Returns
    -------
    At least one row, or None when a fault was added.
    """
    text = _decoded(path, faults, shown)
    if text is None:
        return None
    head = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    columns: list[str] = []
    rows: list[Row] = []
    before = len(faults.faults)
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if not any(cells):
                continue
            if not columns:
                columns = [cell.lower() for cell in cells]
                if not _columns_fit(columns, needed, optional, faults, shown, reader.line_num):
                    return None
                continue
            if any(cells[len(columns) :]):
                faults.add(
                    shown,
                    "row",
                    delimiter.join(cells),
                    f"{len(columns)} cells as in the header",
                    "Put quotes around a text that holds the separator",
                    reader.line_num,
                )
                continue
            named = dict(zip(columns, cells, strict=False))
            rows.append(Row(reader.line_num, named, delimiter != ","))
    except csv.Error as error:
        faults.add(shown, "row", "", "a CSV table", f"It cannot be read: {error}", reader.line_num)
        return None
    if len(faults.faults) > before:
        return None
    if not rows:
        faults.add(shown, "table", "(empty)", f"a header {','.join(needed)} and at least one row")
        return None
    return rows


def _decoded(path: Path, faults: FaultLog, shown: str | Path) -> str | None:
    try:
        raw = path.read_bytes()
    except OSError as error:
        faults.add(shown, "file", "", "a CSV file that can be read", _reason(error))
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        text = raw.decode("cp1252")
    except UnicodeDecodeError:
        faults.add(shown, "file", "", "text in UTF-8", "Save it again as CSV UTF-8")
        return None
    faults.warn(f"{shown}: not in UTF-8, read as Windows-1252; check names with accents")
    return text


def _reason(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "There is no such file"
    return f"The system says: {error.strerror or error}"


def _columns_fit(
    columns: list[str],
    needed: Collection[str],
    optional: Collection[str],
    faults: FaultLog,
    shown: str | Path,
    line: int,
) -> bool:
    known = [*needed, *optional]
    fits = True
    for name in needed:
        if columns.count(name) == 0:
            extra = [column for column in columns if column and column not in known]
            remedy = nearest(name, extra).replace("Known here", "Other columns") if extra else ""
            faults.add(shown, "header", ",".join(columns), f"a column {name}", remedy, line)
            fits = False
    for name in known:
        if columns.count(name) > 1:
            faults.add(
                shown, "header", ",".join(columns), f"one column {name}, not several", line=line
            )
            fits = False
    ignored = [column for column in columns if column and column not in known]
    if fits and ignored:
        faults.warn(f"{shown}: columns not used: {', '.join(ignored)}")
    return fits
