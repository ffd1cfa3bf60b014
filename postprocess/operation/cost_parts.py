"""What a run's cost is made of: the lines of its table of costs, added up over the stages."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from wellring.postprocess.operation.costs import WALL
from wellring.postprocess.run.tables import TABLES_FOLDER

COSTS_TABLE = "costs"


@dataclass(frozen=True)
class CostParts:
    """Money by item over all stages, its currency, and the items that have no price.

    `money` is empty where nothing has a price, or the days of a stage are not known, so that what
    is paid by the week has no sum.
    """

    money: dict[str, float] = field(default_factory=dict)
    currency: str = ""
    unpriced: tuple[str, ...] = ()

    @property
    def lacking(self) -> tuple[str, ...]:
        """Items of which something has no price, all walls being one as in `money`."""
        return tuple(dict.fromkeys(item.partition(":")[0] for item in self.unpriced))

    @property
    def items(self) -> tuple[str, ...]:
        """Those with money first, then those that only lack a price."""
        return tuple(dict.fromkeys([*self.money, *self.lacking]))

    @property
    def wall_unpriced(self) -> bool:
        """Whether a wall has no price, so that the sum is too small by it."""
        return WALL in self.lacking

    @property
    def total(self) -> float:
        """All of it."""
        return sum(self.money.values())


def cost_parts(folder: Path) -> CostParts:
    """What a finished run's table of costs says; all walls are one item.

    Parameters
    ----------
    folder : of the run.
    """
    path = folder / TABLES_FOLDER / f"{COSTS_TABLE}.csv"
    if not path.is_file():
        return CostParts()
    import pandas

    table = pandas.read_csv(path)
    money = str(table.columns[-1])
    has_price = table.filter(like="price [").notna().any(axis=1)
    unpriced = tuple(dict.fromkeys(table["item"][~has_price].astype(str)))
    priced = table[has_price]
    if priced.empty or priced[money].isna().any():
        return CostParts(unpriced=unpriced)
    sums = priced.groupby(priced["item"].str.partition(":")[0], sort=False)[money].sum()
    currency = money[money.index("[") + 1 : -1]
    return CostParts({str(i): float(value) for i, value in sums.items()}, currency, unpriced)
