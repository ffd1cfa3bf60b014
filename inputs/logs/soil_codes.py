"""From what a log calls a soil to the soil of the site file."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from wellring.inputs.basics.faults import nearest
from wellring.inputs.logs.log_tables import Reporter

if TYPE_CHECKING:
    import pandas as pd


def map_soils(
    rows: pd.DataFrame,
    columns: Sequence[str],
    soils: Collection[str],
    codes: Mapping[str, str],
    reporter: Reporter,
) -> pd.Series:
    """The soil of each row, "" where none is known, from the first of `columns` that tells one.

    A cell is looked up in `codes` first and then among `soils`; runs of blanks count as one.
    """
    import pandas as pd

    table = {" ".join(code.split()): soil for code, soil in codes.items()}
    names = {soil: soil for soil in soils} | table
    found = pd.Series("", rows.index)
    shown, column_of = pd.Series("", rows.index), pd.Series(columns[0], rows.index)
    for column in columns:
        # Logs have few different words in many rows.
        plain = {cell: " ".join(cell.split()) for cell in rows[column].unique()}
        cells = rows[column].map(plain)
        found = found.where(found != "", cells.map(names).fillna(""))
        first = (shown == "") & (cells != "")
        shown, column_of = shown.mask(first, cells), column_of.mask(first, column)
    named = rows.assign(shown=shown, found=found, column=column_of)
    unknown = named[~found.isin(list(soils))]
    known = list(soils)
    for (column, cell), group in unknown.groupby(["column", "shown"], sort=False):
        target = group["found"].iloc[0]
        if cell == "":
            reporter.report(group, column, [""] * len(group), "a soil", "Fill in the cell")
            continue
        if target:
            expected = f"a soil of the site file, but [borings.codes] makes it '{target}'"
            remedy = nearest(target, known)
        else:
            expected = "a soil of the site file, or a code of [borings.codes]"
            advice = nearest(cell, known)
            stop = "" if advice.endswith("?") else "."
            remedy = f"{advice}{stop} Or say in [borings.codes] which soil it is"
        if len(group) > 1:
            expected += f" ({len(group)} rows have this one)"
        reporter.report(group.head(1), column, [cell], expected, remedy.strip())
        reporter.faulty.update(group["id"])
    return found
