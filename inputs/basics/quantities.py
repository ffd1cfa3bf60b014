"""Quantity types of a site file: numbers in SI, or text with a unit, within sensible bounds.

To a type checker they are floats; to pydantic they are floats read by
:func:`wellring.inputs.basics.units.to_si` and bounded. What does not fit raises
:class:`wellring.inputs.basics.table.Misfit` with the quantity's name, its bounds and an example.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator

from wellring.inputs.basics.table import Misfit
from wellring.inputs.basics.units import EXAMPLES, to_si

Read = Callable[[Any], float]


def _reader(
    what: str,
    unit: str,
    *,
    low: float | None = None,
    above: float = -math.inf,
    high: float,
    example: str = "",
) -> Read:
    """A reader of `what` in `unit`, at least `low` or more than `above`, at most `high`.

    `example` is one in another unit that fits `what` better than those of the unit.
    """
    bounds = f"from {low:g} to {high:g}" if low is not None else f"above {above:g}, up to {high:g}"
    if unit == "1":
        plain, bounded = f"{what}, a number {bounds}", f"{what} {bounds}"
    else:
        plain = f"{what} such as {EXAMPLES[unit].partition(' such as ')[2]}"
        bounded = f"{what} {bounds} {unit}"
    if example:
        plain = f'{what} such as "{example}"'
    with_units = re.findall(r'"[^"]* [^"]*"', plain)

    def read(value: Any) -> float:
        try:
            number = to_si(value, unit)
        except ValueError:
            raise Misfit(plain) from None
        least = low if low is not None else above
        if number < least or number == above or number > high:
            raise Misfit(bounded, _about_units(value) if number > 0 else "")
        return number

    def _about_units(value: Any) -> str:
        if isinstance(value, str) or unit == "1":
            return ""
        example = f", such as {with_units[-1]}" if with_units else ""
        return f"A number alone is in {unit}; write other units as text{example}."

    return read


def _quantity(what: str, unit: str, example: str = "", **bounds: Any) -> Any:
    return Annotated[float, BeforeValidator(_reader(what, unit, example=example, **bounds))]


def _or_file(read: Read, unit: str, file: str) -> Any:
    """Text that is no quantity is kept as a file's name; everything else is read by `read`."""

    def read_or_keep(value: Any) -> Any:
        if isinstance(value, str) and value.strip():
            try:
                to_si(value, unit)
            except ValueError:
                return value
        try:
            return read(value)
        except Misfit as misfit:
            raise Misfit(f"{misfit.expected}, or {file}", misfit.remedy) from None

    return Annotated[float | str, BeforeValidator(read_or_keep)]


def _auto_or(read: Read) -> Any:
    def read_or_auto(value: Any) -> float | str:
        if value == "auto":
            return "auto"
        try:
            return read(value)
        except Misfit as misfit:
            raise Misfit(f'{misfit.expected}, or "auto"', misfit.remedy) from None

    return Annotated[float | Literal["auto"], BeforeValidator(read_or_auto)]


def _item(value: Any, read: Read, expected: str) -> float:
    """One item of a list; a misfit tells which one it is."""
    try:
        return read(value)
    except Misfit as misfit:
        remedy = f"In it {value!r} is not {misfit.expected}. {misfit.remedy}"
        raise Misfit(expected, remedy.strip()) from None


def _one_or_more(read: Read, expected: str) -> Any:
    def read_all(value: Any) -> float | tuple[float, ...]:
        if not isinstance(value, list | tuple) or not value:
            return read(value)
        return tuple(_item(item, read, expected) for item in value)

    return Annotated[float | tuple[float, ...], BeforeValidator(read_all)]


def _rising(read: Read, expected: str) -> Any:
    """A list of at most 12 values, each larger than the one before."""

    def read_all(value: Any) -> tuple[float, ...]:
        if not isinstance(value, list | tuple) or not 1 <= len(value) <= 12:
            raise Misfit(expected, "One to twelve values.")
        found = tuple(_item(item, read, expected) for item in value)
        if any(after <= before for before, after in pairwise(found)):
            raise Misfit(expected, "Each must be larger than the one before.")
        return found

    return Annotated[tuple[float, ...], BeforeValidator(read_all)]


def _pair(first: str, second: str, *reads: Read) -> Any:
    expected = f"a pair [{first}, {second}]"

    def read(value: Any) -> tuple[float, float]:
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise Misfit(expected)
        one, two = (_item(item, part, expected) for part, item in zip(reads, value, strict=True))
        return one, two

    return Annotated[tuple[float, float], BeforeValidator(read)]


def _count(what: str, low: int, high: int) -> Any:
    def read(value: Any) -> int:
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise Misfit(f"{what}: a whole number from {low} to {high}")
        return value

    return Annotated[int, BeforeValidator(read)]


def _number(what: str, **bounds: Any) -> Any:
    return _quantity(what, "1", **bounds)


def _days(what: str, **bounds: Any) -> Any:
    read = _reader(what, "1", **bounds)

    def read_days(value: Any) -> float:
        if isinstance(value, str):
            raise Misfit(f"{what} as a plain number such as 21, without quotes and unit")
        return read(value)

    return Annotated[float, BeforeValidator(read_days)]


if TYPE_CHECKING:
    Level: TypeAlias = float
    Levels: TypeAlias = float | tuple[float, ...]
    Length: TypeAlias = float
    Offset: TypeAlias = float
    Clearance: TypeAlias = float
    Chainage: TypeAlias = float
    Diameter: TypeAlias = float
    GrainSize: TypeAlias = float
    CellSize: TypeAlias = float
    SettlementLimit: TypeAlias = float
    DrawdownLimit: TypeAlias = float
    PileCover: TypeAlias = float
    StreamFlow: TypeAlias = float
    DrawdownLimits: TypeAlias = tuple[float, ...]
    SettlementLimits: TypeAlias = tuple[float, ...]
    Conductivity: TypeAlias = float
    JointResistance: TypeAlias = float
    Flow: TypeAlias = float
    WellFlows: TypeAlias = float | tuple[float, ...]
    Discharge: TypeAlias = float
    Fraction: TypeAlias = float
    Ratio: TypeAlias = float
    Gradient: TypeAlias = float
    SlopeLimit: TypeAlias = float
    Pressure: TypeAlias = float
    Modulus: TypeAlias = float
    Compressibility: TypeAlias = float
    Consolidation: TypeAlias = float
    UnitWeight: TypeAlias = float
    StorageOrAuto: TypeAlias = float | Literal["auto"]
    BedConductance: TypeAlias = float
    LevelOrFile: TypeAlias = float | str
    RateOrFile: TypeAlias = float | str
    Screen: TypeAlias = tuple[float, float]
    PumpPoint: TypeAlias = tuple[float, float]
    LinearLoss: TypeAlias = float
    SquareLoss: TypeAlias = float
    Yield: TypeAlias = float
    CompressionIndex: TypeAlias = float
    RecompressionIndex: TypeAlias = float
    VoidRatio: TypeAlias = float
    Overconsolidation: TypeAlias = float
    Azimuth: TypeAlias = float
    Rotation: TypeAlias = float
    Growth: TypeAlias = float
    Coordinate: TypeAlias = float
    Day: TypeAlias = float
    Duration: TypeAlias = float
    PointCount: TypeAlias = int
    CellCount: TypeAlias = int
    Realisation: TypeAlias = int
    PumpsPerOperator: TypeAlias = int
    SparePumps: TypeAlias = int
    Money: TypeAlias = float
    PayFactor: TypeAlias = float
    ShiftHours: TypeAlias = float
    Temperature: TypeAlias = float
    ClogFactor: TypeAlias = float
    PartialFactor: TypeAlias = float
    SafetyFactor: TypeAlias = float
    Volume: TypeAlias = float
    Velocity: TypeAlias = float
    WeekHours: TypeAlias = float
    Share: TypeAlias = float
    PipeC: TypeAlias = float
else:
    _level = _reader("a level", "m", low=-2000, high=9000)
    _flow = _reader("a flow", "m3/s", above=0, high=2)
    _length = _reader("a length", "m", above=0, high=1e5)
    _rate = _reader("a recharge rate", "m/s", low=0, high=1e-4, example="200 mm/year")
    Level = Annotated[float, BeforeValidator(_level)]
    Levels = _one_or_more(_level, "one level or a list of levels")
    Length = Annotated[float, BeforeValidator(_length)]
    Offset = _quantity("an offset", "m", low=-1e3, high=1e3)
    Clearance = _quantity("a clearance", "m", low=0, high=10)
    Chainage = _quantity("a distance along the line", "m", low=0, high=1e5)
    Diameter = _quantity("a borehole's diameter", "m", "300 mm", low=0.02, high=3)
    GrainSize = _quantity("a grain size", "m", "0.15 mm", low=1e-7, high=0.1)
    CellSize = _quantity("a cell size", "m", low=0.02, high=100)
    _settlement = _reader("a settlement", "m", above=0, high=10, example="20 mm")
    _drawdown = _reader("a drawdown", "m", above=0, high=200)
    SettlementLimit = Annotated[float, BeforeValidator(_settlement)]
    DrawdownLimit = Annotated[float, BeforeValidator(_drawdown)]
    PileCover = _quantity("a cover of water", "m", low=0, high=10)
    StreamFlow = _quantity("a flow", "m3/s", above=0, high=1e6)
    SettlementLimits = _rising(_settlement, 'a rising list such as ["5 mm", "10 mm", "25 mm"]')
    DrawdownLimits = _rising(_drawdown, "a rising list such as [0.1, 0.5, 1.0]")
    Conductivity = _quantity("a hydraulic conductivity", "m/s", low=1e-14, high=1)
    JointResistance = _quantity("an inverse joint resistance", "m/s", above=0, high=1)
    Flow = Annotated[float, BeforeValidator(_flow)]
    Discharge = _quantity("a flow", "m3/s", above=0, high=100)
    Fraction = _quantity("a fraction", "1", above=0, high=1)
    Ratio = _quantity("a factor", "1", above=0, high=1e4)
    Gradient = _quantity("a gradient", "1", low=0, high=1)
    SlopeLimit = _quantity("a slope", "1", above=0, high=1)
    Pressure = _quantity("a pressure", "Pa", low=0, high=1e9)
    Modulus = _quantity("a modulus", "Pa", above=1e4, high=1e12)
    Compressibility = _quantity("a compressibility", "1/Pa", above=0, high=1e-4)
    Consolidation = _quantity("a coefficient of consolidation", "m2/s", above=0, high=1)
    UnitWeight = _quantity("a unit weight", "N/m3", low=5e3, high=4e4)
    StorageOrAuto = _auto_or(_reader("a specific storage", "1/m", above=1e-9, high=1))
    BedConductance = _quantity("a bed's conductance per area", "1/s", above=0, high=1e3)
    LevelOrFile = _or_file(_level, "m", "the name of a file")
    RateOrFile = _or_file(_rate, "m/s", "the name of a file")
    Screen = _pair("bottom level", "top level", _level, _level)
    _pumped = _reader("a flow", "m3/s", low=0, high=2)
    PumpPoint = _pair("flow", "head", _pumped, _length)
    WellFlows = _one_or_more(_pumped, "one flow or a list with a flow for each well")
    LinearLoss = _quantity("a linear well loss", "s/m2", low=0, high=1e7)
    SquareLoss = _quantity("a quadratic well loss", "s2/m5", low=0, high=1e9)
    Yield = _number("a specific yield", above=0, high=0.6)
    CompressionIndex = _number("a compression index", above=0, high=20)
    RecompressionIndex = _number("a recompression index", above=0, high=5)
    VoidRatio = _number("a void ratio", above=0, high=20)
    Overconsolidation = _number("an overconsolidation ratio", low=1, high=100)
    Azimuth = _number("an azimuth in degrees", low=0, high=360)
    Rotation = _number("an angle in degrees", low=-360, high=360)
    Growth = _number("a growth factor", low=1.02, high=2)
    Coordinate = _number("a coordinate in the site's system", low=-1e8, high=1e8)
    Day = _days("a day", low=-3650, high=36500)
    Duration = _days("a number of days", above=0, high=36500)
    PointCount = _count("a number of points", 1, 5000)
    CellCount = _count("a number of cells", 1000, 10_000_000)
    Realisation = _count("the number of a realisation", 0, 1_000_000)
    PumpsPerOperator = _count("a number of pumps", 1, 10_000)
    SparePumps = _count("a number of standby pumps", 0, 10_000)
    Money = _number("an amount of money", low=0, high=1e12)
    PayFactor = _number("a factor on the wage", low=1, high=100)
    ShiftHours = _number("hours of a shift", above=0, high=24)
    Temperature = _number("a temperature of the water in °C", low=0, high=40)
    ClogFactor = _number("a clogging factor", low=1, high=1e4)
    PartialFactor = _number("a partial factor", low=0.1, high=10)
    SafetyFactor = _number("a factor of safety", low=1, high=10)
    Volume = _quantity("a volume", "m3", above=0, high=1e12)
    Velocity = _quantity("a velocity", "m/s", "1.5 m/s", above=0, high=20)
    WeekHours = _number("hours of a week", above=0, high=168)
    Share = _quantity("a share", "1", low=0, high=10)
    PipeC = _number("Hazen and Williams' C", low=20, high=200)
