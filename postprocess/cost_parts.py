"""What a run's cost is made of: the lines of its table of costs, added up over the stages."""

from __future__ import annotations

from pathlib import Path

import pandas

from wellring.postprocess.tables import TABLES_FOLDER

COSTS_TABLE = "costs"


def cost_parts(folder: Path) -> tuple[dict[str, float], str]:
    """Money by item over all stages, in the order of the table, and the currency.

    Empty where the site gives no [operations], or the days of a stage are not known, so that
    what is paid by the week has no sum. Items without a price are left out.

    Parameters
    ----------
    folder : of a finished run.
    """
    path = folder / TABLES_FOLDER / f"{COSTS_TABLE}.csv"
    if not path.is_file():
        return {}, ""
    table = pandas.read_csv(path)
    money = table.columns[-1]
    priced = table[table.filter(like="price [").notna().any(axis=1)]
    if priced.empty or priced[money].isna().any():
        return {}, ""
    sums = priced.groupby("item", sort=False)[money].sum()
    return {str(item): float(value) for item, value in sums.items()}, money[
        money.index("[") + 1 : -1
    ]
