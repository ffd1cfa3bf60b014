"""What the borings say about the bottom of every unit of the sequence.

A boring in which one soil runs through where others met a lens of something else inside that soil
has no contact to offer at the lens: "sand" there is the sand above and the sand below in one. Its
bed is divided between the two at the level that the neighbours suggest, so that the lens ends at
its own depth. Given whole to the upper unit, the lens would dive to the bottom of the bed.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.logs.borings import Boring, BoringLogs
from wellring.model.geology.surface_interpolation import interpolate
from wellring.model.geology.unit_sequence import UnitSequence

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

THINNEST = 1e-6
"""Thickness [m] below which a unit counts as absent."""


@dataclass(frozen=True, eq=False)
class ObservedContacts:
    """Contacts of m units in n borings.

    x, y : shape (n,), collars' coordinates [m].
    levels : shape (m + 1, n), collar and bottom of each unit [m]; NaN where the boring did not get
        there, equal to the one above where it passed without meeting the unit.
    present : shape (m, n), the boring met the unit.
    divided : shape (m, n), it met it in a bed divided between units of that soil.
    room : shape (m, n, 2), top and bottom of that bed [m] where the unit's bottom only divides it
        and so could lie anywhere between them; NaN elsewhere.
    last, final : shape (n,), unit in which the boring ended, and the level of its end [m].
    """

    x: Floats
    y: Floats
    levels: Floats
    present: Flags
    divided: Flags
    room: Floats
    last: NDArray[np.int64]
    final: Floats

    @property
    def absent(self) -> Flags:
        """Shape (m, n): the boring passed the unit's place without meeting it."""
        units = np.arange(len(self.present))[:, None]
        return (self.last > units) & ~self.present

    @property
    def through(self) -> Flags:
        """Shape (m, n): the boring met the unit and went on below it."""
        units = np.arange(len(self.present))[:, None]
        return (self.last > units) & self.present

    @property
    def open_beds(self) -> Floats:
        """Shape (m, n): thickness [m] of the bed that the top of each unit only divides, else 0."""
        open_beds = np.zeros(self.present.shape)
        for unit in range(1, len(self.present)):
            own = self.room[unit - 1, :, 0] - self.room[unit - 1, :, 1]
            # of a missing unit the top and the bottom are one
            passed_on = np.where(self.absent[unit - 1], open_beds[unit - 1], 0.0)
            open_beds[unit] = np.where(np.isfinite(own), own, passed_on)
        return open_beds

    def thickness(self, unit: int) -> Floats:
        """Thickness [m] of the unit in each boring, shape (n,).

        At least so much where the boring ended in it, 0 where absent, NaN where not reached.
        """
        bottom = np.where(self.last == unit, self.final, self.levels[unit + 1])
        return self.levels[unit] - bottom


@dataclass(frozen=True)
class _Bed:
    unit: int
    top: float
    bottom: float


def observed_contacts(logs: BoringLogs, sequence: UnitSequence, method: str) -> ObservedContacts:
    """Read the contacts from the logs, dividing beds where lenses of other borings pinch out.

    `method` is the interpolation with which the level of a division is carried over from the
    borings that met the lens. Every boring needs at least one interval with a thickness.
    """
    columns = [
        _beds(boring, row) for boring, row in zip(logs.borings, sequence.assigned, strict=True)
    ]
    x = np.array([b.x for b in logs.borings], dtype=np.float64)
    y = np.array([b.y for b in logs.borings], dtype=np.float64)
    soils = [unit.soil for unit in sequence.units]
    expected = _Expected(columns, soils, x, y, method)

    shape = (len(soils), len(columns))
    levels = np.full((shape[0] + 1, shape[1]), np.nan)
    present, divided = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    room = np.full((*shape, 2), np.nan)
    last, final = np.zeros(shape[1], dtype=np.int64), np.zeros(shape[1])
    for b, beds in enumerate(columns):
        levels[0, b] = logs.borings[b].ground
        below = 0  # first unit whose bottom is still to be set
        for number, bed in enumerate(beds):
            ends = number == len(beds) - 1
            first = max(below, beds[number - 1].unit + 1) if number else 0
            shares = _shares(expected, beds, number, first, b)
            for unit, bottom in shares[:-1]:
                levels[below + 1 : unit + 1, b] = levels[below, b]
                levels[unit + 1, b] = bottom
                room[unit, b] = bed.top, bed.bottom
                below = unit + 1
            unit = shares[-1][0]
            levels[below + 1 : unit + 1, b] = levels[below, b]
            if not ends:
                levels[unit + 1, b] = bed.bottom
                below = unit + 1
            present[[unit for unit, _ in shares], b] = True
            divided[[unit for unit, _ in shares], b] = len(shares) > 1
        last[b], final[b] = unit, bed.bottom
    return ObservedContacts(x, y, levels, present, divided, room, last, final)


def _beds(boring: Boring, row: tuple[int, ...]) -> list[_Bed]:
    beds: list[_Bed] = []
    top = boring.ground
    for unit, interval in zip(row, boring.intervals, strict=True):
        if not interval.top > interval.bottom:
            continue
        if beds and beds[-1].unit == unit:
            beds[-1] = _Bed(unit, beds[-1].top, interval.bottom)
        else:
            beds.append(_Bed(unit, top, interval.bottom))
        top = interval.bottom
    return beds


def _candidates(soils: list[str], beds: list[_Bed], number: int, first: int) -> list[int]:
    """Units of the bed's soil that it may stand for, between the beds above and below it."""
    end = beds[number + 1].unit if number + 1 < len(beds) else len(soils)
    soil = soils[beds[number].unit]
    return [unit for unit in range(first, end) if soils[unit] == soil]


def _shares(
    expected: _Expected, beds: list[_Bed], number: int, first: int, b: int
) -> list[tuple[int, float]]:
    """Units that the bed is divided between, with their bottoms [m], from the top down."""
    bed = beds[number]
    whole = [(bed.unit, bed.bottom)]
    units = _candidates(expected.soils, beds, number, first)
    if len(units) == 1:
        return whole
    shares: list[tuple[int, float]] = []
    top = bed.top
    for upper, lower in itertools.pairwise(units):
        division, lower_top = expected.bottom(upper, b), expected.top(lower, b)
        if division is None or lower_top is None:
            return whole
        if lower_top - bed.bottom <= THINNEST or division - bed.bottom <= THINNEST:
            return [*shares, (upper, bed.bottom)]  # the bed ends above the lower unit
        if top - division > THINNEST:
            shares.append((upper, division))
            top = division
    return [*shares, (units[-1], bed.bottom)]


class _Expected:
    """Levels of tops and bottoms at all borings, carried over from borings that saw them.

    Only borings count in which the unit's bed cannot stand for another unit as well.
    """

    def __init__(
        self, columns: list[list[_Bed]], soils: list[str], x: Floats, y: Floats, method: str
    ):
        self.soils, self._x, self._y, self._method = soils, x, y, method
        self._tops: dict[int, list[tuple[int, float]]] = {}
        self._bottoms: dict[int, list[tuple[int, float]]] = {}
        self._drawn: dict[tuple[str, int], Floats | None] = {}
        for b, beds in enumerate(columns):
            for number, bed in enumerate(beds):
                first = beds[number - 1].unit + 1 if number else 0
                if len(_candidates(soils, beds, number, first)) > 1:
                    continue
                self._tops.setdefault(bed.unit, []).append((b, bed.top))
                if number < len(beds) - 1:
                    self._bottoms.setdefault(bed.unit, []).append((b, bed.bottom))

    def top(self, unit: int, b: int) -> float | None:
        """Expected top of the unit at boring b [m], None where no boring saw it."""
        return self._level("top", self._tops.get(unit, []), unit, b)

    def bottom(self, unit: int, b: int) -> float | None:
        """Expected bottom of the unit at boring b [m], None where no boring saw it."""
        return self._level("bottom", self._bottoms.get(unit, []), unit, b)

    def _level(self, side: str, seen: list[tuple[int, float]], unit: int, b: int) -> float | None:
        if (side, unit) not in self._drawn:
            drawn = None
            if seen:
                where = np.array([at for at, _ in seen])
                values = np.array([level for _, level in seen])
                drawn, _ = interpolate(
                    self._method, self._x[where], self._y[where], values, self._x, self._y
                )
            self._drawn[side, unit] = drawn
        found = self._drawn[side, unit]
        return None if found is None else float(found[b])
