"""What a stage costs: quantities from the model times the user's prices, never a guess."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from wellring.inputs.basics.units import DAY
from wellring.inputs.site.operations import Operations
from wellring.postprocess.water.discharge import Discharge
from wellring.postprocess.water.wall_areas import WallArea

WALL = "wall"
"""What the cost of a wall is called before its name."""
WEEK = 7.0
"""Days."""


@dataclass(frozen=True)
class Quantities:
    """What a stage takes.

    `paid_hours` of plain wage, `energy` [kWh] and `discharge` [m³] of one week; pumps running and
    standing by, standby power [kW], header [m]; what is new in this stage: metres drilled, points,
    walls.
    """

    paid_hours: float
    energy: float
    pumps: int
    standby_pumps: int
    standby_power: float
    header: float
    tank: bool
    drilled: float
    points: int
    first: bool
    walls: tuple[WallArea, ...] = ()


@dataclass(frozen=True)
class CostItem:
    """One line of the cost: quantity × price = money, a week or (`weekly` false) once.

    `price` is None where the user gives none; such a line has no money. `total` is over the
    stage, None while its days are not known. `table` is where the site file has the price.
    """

    item: str
    key: str
    quantity: float
    unit: str
    price: float | None
    weekly: bool
    total_quantity: float | None
    table: str = "operations"

    @property
    def total_unit(self) -> str:
        """Unit of the quantity over the stage: what is hired counts by weeks."""
        return f"{self.unit} × weeks" if self.weekly and self.key.endswith("_hire") else self.unit

    @property
    def money(self) -> float | None:
        """Of a week, or of the once."""
        return None if self.price is None else self.quantity * self.price

    @property
    def total(self) -> float | None:
        """Of the whole stage."""
        if self.price is None or self.total_quantity is None:
            return None
        return self.total_quantity * self.price


def cost_items(prices: Operations, taken: Quantities, water: Discharge) -> list[CostItem]:
    """All lines of a stage, also those without a price; nothing of which nothing is needed."""
    return [item for item in _lines(prices, taken, water) if item.quantity > 0]


def _lines(prices: Operations, taken: Quantities, water: Discharge) -> Iterator[CostItem]:
    weeks = None if water.days is None else water.days / WEEK

    def weekly(item: str, key: str, quantity: float, unit: str) -> CostItem:
        total = None if weeks is None else quantity * weeks
        return CostItem(item, key, quantity, unit, getattr(prices, key), True, total)

    def once(item: str, key: str, quantity: float, unit: str) -> CostItem:
        return CostItem(item, key, quantity, unit, getattr(prices, key), False, quantity)

    yield weekly("operators", "wage", taken.paid_hours, "hours of plain wage")
    yield weekly("power", "power_price", taken.energy, "kWh")
    yield weekly("pump hire", "pump_hire", taken.pumps + taken.standby_pumps, "pumps")
    yield weekly("standby power hire", "standby_hire", taken.standby_power, "kW")
    yield weekly("header hire", "header_hire", taken.header, "m")
    yield weekly("settling tank hire", "tank_hire", float(taken.tank), "tank")
    week = max(water.steady, 0.0) * WEEK * DAY
    for item, key in (("discharge fee", "discharge_fee"), ("treatment", "treatment")):
        yield CostItem(item, key, week, "m3", getattr(prices, key), True, water.volume)
    yield once("drilling", "drilling", taken.drilled, "m")
    yield once("installation", "installation", taken.points, "points")
    yield once("mobilisation", "mobilisation", float(taken.first), "scheme")
    for wall in taken.walls:
        item = f"{WALL}: {wall.name}"
        yield CostItem(item, "price", wall.area, "m2", wall.price, False, wall.area, "walls")


@dataclass(frozen=True)
class StageCost:
    """Sums of a stage in the user's currency: a week, once, and in all (None without days)."""

    week: float
    once: float
    total: float | None


def summed(items: list[CostItem]) -> StageCost:
    """Sums of the lines that have a price."""
    priced = [item for item in items if item.price is not None]
    totals = [item.total for item in priced]
    known = [total for total in totals if total is not None]
    return StageCost(
        sum((item.money or 0.0) for item in priced if item.weekly),
        sum((item.money or 0.0) for item in priced if not item.weekly),
        sum(known) if len(known) == len(totals) else None,
    )
