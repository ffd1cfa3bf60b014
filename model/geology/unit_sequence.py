"""Merge the soil lists of all borings into one sequence of stratigraphic units, top to bottom.

The logs are aligned one after another with the sequence found so far, as sequences are in
progressive alignment: the longest common subsequence decides which intervals are the same unit
(dynamic programming: Needleman & Wunsch 1970, doi:10.1016/0022-2836(70)90057-4), nearness in level
decides between equally long ones. What does not fit becomes a unit of its own, a lens.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from wellring.inputs.logs.borings import Boring, BoringLogs

STEEPEST = 1.0
"""Steepest dip (vertical on horizontal) at which two intervals still pass for one unit."""
SLACK = 2.0
"""Difference in level [m] that any two borings may have within one unit besides the dip."""


@dataclass(frozen=True)
class Unit:
    """One stratigraphic unit: a soil at one place of the sequence.

    `label` is the soil's name, numbered from the second time it occurs: "sand", "sand (2)".
    """

    label: str
    soil: str


@dataclass(frozen=True)
class UnitSequence:
    """The units from the top down, and the unit of every interval of every boring.

    `assigned[b][i]` is the index in `units` of interval i of boring b, in the order of the logs.
    It never decreases with i; intervals of one soil that follow each other share a unit.
    """

    units: tuple[Unit, ...]
    assigned: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class _Bed:
    """Intervals of one soil that follow each other in one boring."""

    soil: str
    top: float
    bottom: float
    ends_boring: bool
    x: float
    y: float
    boring: int

    @property
    def middle(self) -> float:
        return (self.top + self.bottom) / 2


@dataclass(eq=False)
class _Draft:
    """A unit in the making."""

    soil: str
    beds: list[_Bed] = field(default_factory=list)

    def nearest(self, bed: _Bed) -> _Bed:
        """The unit's bed in the boring nearest to that of `bed`; the first of equals."""
        return min(self.beds, key=lambda other: _apart(bed, other))


def unit_sequence(logs: BoringLogs) -> UnitSequence:
    """Align all logs. The result does not depend on the order in which the borings are given.

    Logs with the most beds come first: they tell most about the order, and the short ones then
    find their place in it. Two beds of one soil are not joined where the dip between them would
    have to exceed 1 : 1 (steeper than soils stand; common practice, no source).

    Intervals without thickness take the unit of the interval above them.
    """
    logged = [_beds(number, boring) for number, boring in enumerate(logs.borings)]
    drafts: list[_Draft] = []
    for number in sorted(range(len(logged)), key=lambda n: _rank(logs.borings[n], logged[n])):
        drafts = _joined(drafts, logged[number])
    drafts = _without_doublets(drafts)

    place = {id(bed): index for index, draft in enumerate(drafts) for bed in draft.beds}
    assigned = []
    for boring, beds in zip(logs.borings, logged, strict=True):
        unit, bed_number, last_soil = 0, -1, None
        row = []
        for interval in boring.intervals:
            if interval.top > interval.bottom:
                if interval.soil != last_soil:
                    bed_number += 1
                last_soil = interval.soil
                unit = place[id(beds[bed_number])]
            row.append(unit)
        assigned.append(tuple(row))
    return UnitSequence(_labelled([draft.soil for draft in drafts]), tuple(assigned))


def _beds(number: int, boring: Boring) -> list[_Bed]:
    """The boring's beds from the top down."""
    merged: list[list] = []
    for interval in boring.intervals:
        if not interval.top > interval.bottom:
            continue
        if merged and merged[-1][0] == interval.soil:
            merged[-1][2] = interval.bottom
        else:
            merged.append([interval.soil, interval.top, interval.bottom])
    return [
        _Bed(soil, top, bottom, index == len(merged) - 1, boring.x, boring.y, number)
        for index, (soil, top, bottom) in enumerate(merged)
    ]


def _rank(boring: Boring, beds: list[_Bed]) -> tuple:
    """Sorting key that puts the most telling log first and never depends on file order."""
    return (-len(beds), boring.final - boring.ground, boring.x, boring.y, boring.id)


def _joined(drafts: list[_Draft], beds: list[_Bed]) -> list[_Draft]:
    """The drafts with one more boring's beds taken in; new drafts where none fitted."""
    near = [draft.nearest(beds[0]) for draft in drafts] if beds else []
    result: list[_Draft] = []
    bed_from = draft_from = 0
    for bed_at, draft_at in [*_matches(drafts, near, beds), (len(beds), len(drafts))]:
        new = beds[bed_from:bed_at]
        old = list(range(draft_from, draft_at))
        # Between two matches the order of new and old is open: the higher one comes first.
        while new or old:
            if new and (not old or new[0].middle > near[old[0]].middle):
                result.append(_Draft(new[0].soil, [new.pop(0)]))
            else:
                result.append(drafts[old.pop(0)])
        if bed_at < len(beds):
            drafts[draft_at].beds.append(beds[bed_at])
            result.append(drafts[draft_at])
        bed_from, draft_from = bed_at + 1, draft_at + 1
    return result


def _matches(
    drafts: Sequence[_Draft], near: Sequence[_Bed], beds: Sequence[_Bed]
) -> list[tuple[int, int]]:
    """Pairs (bed, draft) of the longest common subsequence that differs least in level."""
    rows, columns = len(beds), len(drafts)
    # Most pairs first, then the least sum of differences: tuples compare in that order.
    best = [[(0, 0.0)] * (columns + 1) for _ in range(rows + 1)]
    with_pair = [[(-1, 0.0)] * columns for _ in range(rows)]
    for i in reversed(range(rows)):
        for j in reversed(range(columns)):
            if beds[i].soil == drafts[j].soil and _plausible(beds[i], near[j]):
                count, agreement = best[i + 1][j + 1]
                with_pair[i][j] = (count + 1, agreement - _difference(beds[i], near[j]))
            best[i][j] = max(with_pair[i][j], best[i + 1][j], best[i][j + 1])
    pairs, i, j = [], 0, 0
    while i < rows and j < columns:
        if with_pair[i][j] == best[i][j]:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif best[i + 1][j] == best[i][j]:
            i += 1
        else:
            j += 1
    return pairs


def _plausible(bed: _Bed, other: _Bed) -> bool:
    """Whether the levels at which two beds lie leave them a dip that soils can have."""
    gap = max(bed.bottom - other.top, other.bottom - bed.top, 0.0)
    return gap <= SLACK + STEEPEST * _apart(bed, other)


def _difference(bed: _Bed, other: _Bed) -> float:
    """Mean difference in level of tops and bottoms [m]; of tops alone where a boring ended."""
    top = abs(bed.top - other.top)
    if bed.ends_boring or other.ends_boring:
        return top
    return (top + abs(bed.bottom - other.bottom)) / 2


def _apart(bed: _Bed, other: _Bed) -> float:
    return math.hypot(bed.x - other.x, bed.y - other.y)


def _without_doublets(drafts: list[_Draft]) -> list[_Draft]:
    """Join drafts of one soil that follow each other: with nothing between them they are one."""
    result: list[_Draft] = []
    for draft in drafts:
        if result and result[-1].soil == draft.soil:
            result[-1].beds.extend(draft.beds)
        else:
            result.append(draft)
    return result


def _labelled(soils: list[str]) -> tuple[Unit, ...]:
    used = set(soils)
    times: dict[str, int] = {}
    units = []
    for soil in soils:
        times[soil] = times.get(soil, 0) + 1
        label = soil
        if times[soil] > 1:
            label = f"{soil} ({times[soil]})"
            while label in used:  # a soil may itself be called "sand (2)"
                times[soil] += 1
                label = f"{soil} ({times[soil]})"
        used.add(label)
        units.append(Unit(label, soil))
    return tuple(units)
