"""The [[neighbours]] tables: what stands around the site, what is known of it, what it may bear.

Attributes of a layer's features come from its columns, from `defaults` for all of a layer, or are
not known. Everything numeric is SI; a column in another unit is mapped as ``"DEPTH [ft]"``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from pydantic import Field, field_validator

from wellring.inputs.basics.faults import nearest
from wellring.inputs.basics.quantities import (
    DrawdownLimit,
    Fraction,
    PileCover,
    SettlementLimit,
    SlopeLimit,
    StreamFlow,
)
from wellring.inputs.basics.table import Misfit, Table, Text, TextByText
from wellring.inputs.basics.units import EXAMPLES, to_si

NeighbourKind = Literal["building", "utility", "well", "surface_water", "wetland", "contamination"]
KINDS: tuple[str, ...] = get_args(NeighbourKind)


@dataclass(frozen=True)
class Numeric:
    """A numeric attribute: which kinds have it, its unit and bounds, what it is."""

    kinds: tuple[str, ...]
    unit: str
    low: float
    high: float
    what: str

    def read(self, value: Any) -> float:
        """`value` in SI.

        Raises
        ------
        Misfit : it is no such quantity, or beyond the bounds.
        """
        try:
            number = to_si(value, self.unit)
        except ValueError:
            raise Misfit(f"{self.what}, {EXAMPLES[self.unit]}") from None
        if not self.low <= number <= self.high:
            raise Misfit(self.bounds)
        return number

    @property
    def bounds(self) -> str:
        """The bounds in words."""
        unit = "" if self.unit == "1" else f" {self.unit}"
        return f"{self.what} from {self.low:g} to {self.high:g}{unit}"


FOUNDATIONS = ("shallow", "raft", "basement", "piles", "wood piles")
"""What a building may stand on."""

TEXTS: Mapping[str, tuple[str, ...]] = {
    "name": KINDS,
    "foundation": ("building",),
    "material": ("building", "utility"),
    "boundary": ("surface_water",),
}
"""Attributes that are text, and the kinds that have them."""

NUMBERS: Mapping[str, Numeric] = {
    "pile_head": Numeric(("building",), "m", -2000, 9000, "the level of the pile heads"),
    "height": Numeric(("building",), "m", 1, 1000, "a building's height"),
    "length": Numeric(("building",), "m", 1, 5000, "a building's length"),
    "strain": Numeric(("building",), "1", 0, 0.05, "a horizontal strain of the ground"),
    "bottom": Numeric(
        ("well", "contamination"), "m", -2000, 9000, "the level down to which it reaches"
    ),
    "depth": Numeric(("well",), "m", 0.5, 2000, "the depth of the well below ground"),
    "pump_level": Numeric(("well",), "m", -2000, 9000, "the level of the pump's intake"),
    "own_drawdown": Numeric(("well",), "m", 0, 500, "the drawdown of the well's own pumping"),
    "flow": Numeric(("surface_water",), "m3/s", 1e-6, 1e6, "the low flow of the stream"),
    "limit_settlement": Numeric(KINDS, "m", 1e-6, 10, "a settlement"),
    "limit_differential": Numeric(KINDS, "m", 1e-6, 10, "a differential settlement"),
    "limit_slope": Numeric(KINDS, "1", 1e-9, 1, "a slope"),
    "limit_distortion": Numeric(("building",), "1", 1e-9, 1, "an angular distortion"),
    "limit_drawdown": Numeric(KINDS, "m", 1e-6, 200, "a drawdown"),
    "limit_cover": Numeric(("building",), "m", 0, 10, "a cover of water over the pile heads"),
    "limit_share": Numeric(("well", "surface_water"), "1", 1e-6, 1, "a share"),
    "limit_depletion": Numeric(("surface_water",), "m3/s", 1e-9, 1e6, "a flow"),
}
"""Attributes that are numbers. Those of limits stand for one feature; the others are its own."""


def known_attributes(kind: str) -> list[str]:
    """Names of the attributes that features of a kind may have."""
    found = [name for name, kinds in TEXTS.items() if kind in kinds]
    return found + [name for name, item in NUMBERS.items() if kind in item.kinds]


class Limits(Table):
    """What a neighbour may be asked to bear."""

    settlement: SettlementLimit | None = None
    differential: SettlementLimit | None = None
    """Difference of settlement over one feature [m]."""
    slope: SlopeLimit | None = None
    distortion: SlopeLimit | None = None
    drawdown: DrawdownLimit | None = None
    cover: PileCover | None = None
    """Least height of the water table over wooden pile heads [m]; 0 where left out."""
    share: Fraction | None = None
    """Largest part of a well's available water, or of a stream's flow, that may be lost."""
    depletion: StreamFlow | None = None
    """Largest flow a stream may lose [m³/s]."""


class Neighbour(Table):
    """[[neighbours]]: a vector layer of things that the work may affect."""

    file: Text
    kind: NeighbourKind
    name: Text | None = None
    attributes: TextByText = Field(default={})
    """Own attribute → column of the file, if it is called otherwise: "HEIGHT_FT [ft]"."""
    words: TextByText = Field(default={})
    """Word of the file → word of this tool, such as { timber_piles = "wood piles" }."""
    defaults: dict[str, float | str] = Field(default={})
    """Own attribute → value for all features of the file that have none."""
    limit: Limits = Limits()

    @field_validator("defaults", mode="before")
    @classmethod
    def _read_defaults(cls, value: Any) -> Any:
        if not isinstance(value, Mapping):
            raise Misfit('a table of attributes such as { foundation = "wood piles" }')
        return {str(key): _default(str(key), item) for key, item in value.items()}


def _default(key: str, value: Any) -> float | str:
    try:
        if key in NUMBERS:
            return NUMBERS[key].read(value)
    except Misfit as misfit:
        raise Misfit(misfit.expected, misfit.remedy, key, value) from None
    if key in TEXTS:
        if not isinstance(value, str):
            raise Misfit("text in quotes", "", key, value)
        return value
    raise Misfit("an attribute", nearest(key, [*TEXTS, *NUMBERS]), key, value)
