"""Boring logs as data: collars, layers and water readings, in levels (m) and site coordinates."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Interval:
    """One soil met in a boring, from level `top` down to level `bottom` [m]."""

    top: float
    bottom: float
    soil: str


@dataclass(frozen=True)
class Boring:
    """One boring: its collar and the soils it met, from the ground downward without gaps.

    `final` is the level where it ended [m]; below it nothing is known.
    """

    id: str
    x: float
    y: float
    ground: float
    final: float
    intervals: tuple[Interval, ...]


@dataclass(frozen=True)
class WaterReading:
    """A water level or strike: `level` [m] in boring `boring`, screened in `soil` where known."""

    boring: str
    level: float
    date: str = ""
    soil: str | None = None
    kind: str = "level"


@dataclass(frozen=True)
class BoringLogs:
    """All borings of a site and their water readings."""

    borings: tuple[Boring, ...]
    readings: tuple[WaterReading, ...] = ()
