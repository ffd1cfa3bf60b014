"""The ledger: what the cells and faces of a finished run are called.

The builder writes it, everything in :mod:`wellring.postprocess` reads it. Nodes are flat indices
(layer · nrow + row) · ncol + column, from 0, the order of MODFLOW 6's DIS. Plan indices are
row · ncol + column. Levels and coordinates are in metres, coordinates in the site's system.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

LEDGER_FILE = "ledger.json"
FORMAT = 1
"""Of the run folder as a whole, written into its ledger. One more wherever older wellrings would
read the folder wrongly or not at all; a ledger that tells none is of the first."""


class NewerFormat(ValueError):
    """A run folder was written by a newer wellring; `format` is the number it tells."""

    def __init__(self, number: int):
        self.format = number
        super().__init__(f"format {number}")


@dataclass(frozen=True)
class GridEntry:
    """The grid: shape, corner of local axes, rotation [degrees anticlockwise], local edges [m]."""

    nlay: int
    nrow: int
    ncol: int
    origin: tuple[float, float]
    rotation: float
    x_edges: list[float]
    y_edges: list[float]


@dataclass(frozen=True)
class UnitEntry:
    """One stratigraphic unit from the top down."""

    label: str
    soil: str


@dataclass(frozen=True)
class SoilEntry:
    """One soil as modelled: kh, kv [m/s], ss [1/m], sy [-], weight [N/m³]."""

    kh: float
    kv: float
    ss: float
    sy: float
    weight: float


@dataclass(frozen=True)
class DrainEntry:
    """Seepage boundaries of one stage: nodes, levels [m] and what they are part of."""

    nodes: list[int]
    levels: list[float]


@dataclass(frozen=True)
class WellEntry:
    """A drainage point: where it is, what it may do, and what it did in each stage.

    `held`, `rate`, `governing`, `level` and `flow` have one entry a stage; `flow` [m³/s] is what
    the solver took from the ground, positive out of it.
    """

    name: str
    method: str
    x: float
    y: float
    screen: tuple[float, float]
    radius: float
    nodes: list[int]
    lowest: float
    wanted: float | None
    pump_capacity: float | None
    screen_capacity: list[float | None]
    governing: list[str]
    level: list[float | None]
    flow: list[float]


@dataclass(frozen=True)
class WallEntry:
    """A wall: its line, toe levels along it, whether it holds water, leakage [1/s] and its source.

    `faces` are pairs of plan cells on either side; `toes` belong to them.
    """

    name: str
    kind: str
    holds_water: bool
    line: list[tuple[float, float]]
    leakage: float | None
    basis: str
    from_stage: int
    faces: list[tuple[int, int]]
    toes: list[float]
    tops: list[float]


@dataclass(frozen=True)
class StageEntry:
    """One solved stage: its folder below mf6/, formation [m], floor, drains, way it was solved."""

    name: str
    folder: str
    formation: float | None
    day: float | None
    lasts: float | None
    floor: list[int]
    drains: dict[str, DrainEntry]
    rung: str
    discrepancy: float
    seconds: float


@dataclass(frozen=True)
class PhaseEntry:
    """A stretch of time followed step by step, in which only the water changes.

    `stage` is the index in `stages` whose walls and points stand; `formation` [m] is None while
    the pumps run before the dig; `begins`, `ends` [days]; `points` are those that could pump.
    """

    name: str
    folder: str
    stage: int
    formation: float | None
    begins: float
    ends: float
    rung: str
    discrepancy: float
    seconds: float
    points: list[str]


@dataclass(frozen=True)
class BoundaryEntry:
    """A natural boundary: its name, MODFLOW 6 package, kind, nodes."""

    name: str
    package: str
    kind: str
    nodes: list[int]


@dataclass(frozen=True)
class BoringEntry:
    """A boring as logged: (top, bottom, soil) from the ground down [m]."""

    id: str
    x: float
    y: float
    ground: float
    final: float
    intervals: list[tuple[float, float, str]]


@dataclass(frozen=True)
class PointEntry:
    """A named point of the user."""

    name: str
    x: float
    y: float
    level: float | None


@dataclass(frozen=True)
class Ledger:
    """Names of a run. `stages[0]` is the natural state, before any work."""

    site: str
    scheme: str
    crs: str
    metres_per_unit: float
    show: str
    invented: bool
    clearance: float
    source_distance: float
    source_basis: str
    outline: list[tuple[float, float]]
    grid: GridEntry
    units: list[UnitEntry]
    soils: dict[str, SoilEntry]
    stages: list[StageEntry]
    inside: list[int]
    rim: list[tuple[int, int]]
    walls: list[WallEntry] = field(default_factory=list)
    wells: list[WellEntry] = field(default_factory=list)
    boundaries: list[BoundaryEntry] = field(default_factory=list)
    borings: list[BoringEntry] = field(default_factory=list)
    points: list[PointEntry] = field(default_factory=list)
    phases: list[PhaseEntry] = field(default_factory=list)

    def write(self, folder: Path) -> None:
        """Write the ledger into a run folder."""
        told = {"format": FORMAT, **asdict(self)}
        (folder / LEDGER_FILE).write_text(
            json.dumps(told, ensure_ascii=False, separators=(",", ":")), encoding="utf-8"
        )

    @classmethod
    def read(cls, folder: Path) -> Ledger:
        """Read the ledger of a run folder.

        Raises
        ------
        FileNotFoundError, ValueError, KeyError, TypeError : it is not there or not a ledger.
        NewerFormat : a newer wellring wrote it.
        """
        raw = json.loads((folder / LEDGER_FILE).read_text(encoding="utf-8"))
        if not isinstance(raw, dict):
            raise TypeError("no table")
        number = raw.pop("format", 1)
        if not isinstance(number, int) or number < 1:
            raise ValueError("format")
        if number > FORMAT:
            raise NewerFormat(number)
        return cls(
            **{
                **raw,
                "outline": _pairs(raw["outline"]),
                "rim": _pairs(raw["rim"]),
                "grid": GridEntry(**raw["grid"]),
                "units": [UnitEntry(**item) for item in raw["units"]],
                "soils": {name: SoilEntry(**item) for name, item in raw["soils"].items()},
                "stages": [_stage(item) for item in raw["stages"]],
                "walls": [
                    WallEntry(
                        **{**item, "line": _pairs(item["line"]), "faces": _pairs(item["faces"])}
                    )
                    for item in raw["walls"]
                ],
                "wells": [
                    WellEntry(**{**item, "screen": tuple(item["screen"])}) for item in raw["wells"]
                ],
                "boundaries": [BoundaryEntry(**item) for item in raw["boundaries"]],
                "borings": [
                    BoringEntry(**{**item, "intervals": [tuple(i) for i in item["intervals"]]})
                    for item in raw["borings"]
                ],
                "points": [PointEntry(**item) for item in raw["points"]],
                "phases": [PhaseEntry(**item) for item in raw.get("phases", [])],
            }
        )


def _pairs(items: list[Any]) -> list[tuple[Any, Any]]:
    return [(item[0], item[1]) for item in items]


def _stage(item: dict[str, Any]) -> StageEntry:
    drains = {name: DrainEntry(**entry) for name, entry in item["drains"].items()}
    return StageEntry(**{**item, "drains": drains})
