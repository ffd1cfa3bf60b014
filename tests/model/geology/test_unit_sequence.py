"""Merging the soil lists of borings into one sequence of units."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from wellring.inputs.logs.borings import Boring, BoringLogs, Interval
from wellring.model.geology.unit_sequence import Unit, unit_sequence


def boring(
    name: str, *beds: tuple[str, float], x: float = 0.0, y: float = 0.0, ground: float = 0.0
) -> Boring:
    """A boring from (soil, bottom level) pairs."""
    tops = [ground, *(bottom for _, bottom in beds)]
    intervals = tuple(
        Interval(top, bottom, soil) for top, (soil, bottom) in zip(tops, beds, strict=False)
    )
    return Boring(name, x, y, ground, intervals[-1].bottom, intervals)


def labels(*borings: Boring) -> list[str]:
    return [unit.label for unit in unit_sequence(BoringLogs(borings)).units]


def test_one_boring_is_its_own_sequence_with_repeated_soils_numbered():
    log = boring("B1", ("sand", -2), ("clay", -4), ("sand", -9))
    result = unit_sequence(BoringLogs((log,)))
    assert result.units == (Unit("sand", "sand"), Unit("clay", "clay"), Unit("sand (2)", "sand"))
    assert result.assigned == ((0, 1, 2),)


def test_a_missing_unit_leaves_the_others_in_place():
    a = boring("A", ("fill", -1), ("clay", -4), ("sand", -9))
    b = boring("B", ("fill", -1), ("sand", -9), x=30)
    result = unit_sequence(BoringLogs((a, b)))
    assert [unit.label for unit in result.units] == ["fill", "clay", "sand"]
    assert result.assigned == ((0, 1, 2), (0, 2))


def test_a_single_sand_joins_the_sand_at_its_level():
    full = boring("A", ("sand", -4), ("clay", -8), ("sand", -14))
    upper = boring("B", ("sand", -5), x=20)
    lower = boring("C", ("fill", -8.5), ("sand", -14), x=20, y=5)
    result = unit_sequence(BoringLogs((full, upper, lower)))
    names = [unit.label for unit in result.units]
    assert [names[i] for i in result.assigned[1]] == ["sand"]
    assert [names[i] for i in result.assigned[2]] == ["fill", "sand (2)"]


def test_conflicting_order_becomes_one_extra_unit():
    a = boring("A", ("fill", -1), ("clay", -4), ("sand", -8), ("gravel", -12))
    b = boring("B", ("fill", -1), ("sand", -4), ("clay", -8), ("gravel", -12), x=40)
    result = unit_sequence(BoringLogs((a, b)))
    soils = [unit.soil for unit in result.units]
    assert len(soils) == 5
    assert soils[0] == "fill"
    assert soils[-1] == "gravel"


def test_a_lens_in_one_boring_is_a_unit_of_its_own():
    logs = [boring(f"B{i}", ("clay", -5), ("sand", -10), x=25.0 * i) for i in range(4)]
    logs.append(boring("L", ("clay", -2), ("silt", -3), ("clay", -5), ("sand", -10), x=110))
    assert labels(*logs) == ["clay", "silt", "clay (2)", "sand"]


def test_unmatched_beds_are_ordered_by_level():
    a = boring("A", ("fill", -1), ("peat", -3), ("sand", -9))
    b = boring("B", ("fill", -3), ("silt", -5), ("sand", -9), x=20)
    assert labels(a, b) == ["fill", "peat", "silt", "sand"]


def test_consecutive_intervals_of_one_soil_share_a_unit():
    log = boring("A", ("clay", -2), ("clay", -3), ("sand", -3), ("sand", -7))
    result = unit_sequence(BoringLogs((log,)))
    assert [unit.label for unit in result.units] == ["clay", "sand"]
    assert result.assigned == ((0, 0, 0, 1),)


def test_beds_a_cliff_apart_are_not_one_unit():
    upper = boring("A", ("sand", -3))
    lower = boring("B", ("clay", -20), ("sand", -25), x=10)
    assert labels(upper, lower) == ["sand", "clay", "sand (2)"]
    far = boring("B", ("clay", -20), ("sand", -25), x=100)
    assert labels(upper, far) == ["clay", "sand"]


def test_one_soil_with_nothing_between_is_one_unit_however_steep():
    rock_high = boring("A", ("clay", -1), ("rock", -3))
    rock_low = boring("B", ("clay", -20), ("rock", -25), x=10)
    assert labels(rock_high, rock_low) == ["clay", "rock"]


def test_a_soil_that_looks_like_a_numbered_label_keeps_labels_unique():
    log = boring("A", ("sand", -1), ("clay", -2), ("sand (2)", -3), ("clay", -4), ("sand", -5))
    names = labels(log)
    assert len(set(names)) == len(names) == 5
    assert names[2] == "sand (2)"
    assert names[4] == "sand (3)"


def test_order_of_borings_does_not_matter():
    logs = [
        boring("A", ("fill", -1), ("clay", -4), ("sand", -8), ("gravel", -12)),
        boring("B", ("fill", -1), ("sand", -4), ("clay", -8), ("gravel", -12), x=40),
        boring("C", ("fill", -2), ("peat", -3), ("clay", -6), x=10, y=30),
        boring("D", ("clay", -5), ("sand", -7), x=60, y=10),
    ]
    reference = unit_sequence(BoringLogs(tuple(logs)))
    of_boring = dict(zip("ABCD", reference.assigned, strict=True))
    for order in itertools.permutations(logs):
        result = unit_sequence(BoringLogs(order))
        assert result.units == reference.units
        assert result.assigned == tuple(of_boring[b.id] for b in order)


@pytest.mark.parametrize("seed", range(60))
def test_random_logs_keep_their_own_order_and_soils(seed: int):
    random = np.random.default_rng(seed)
    logs = []
    for number in range(int(random.integers(1, 12))):
        bottoms = -np.cumsum(random.uniform(0.2, 4.0, int(random.integers(1, 9))))
        soils = random.choice(["fill", "clay", "sand", "silt", "gravel"], bottoms.size)
        x, y = random.uniform(0, 100, 2)
        beds = zip(soils.tolist(), bottoms.tolist(), strict=True)
        logs.append(boring(f"B{number}", *beds, x=float(x), y=float(y)))
    result = unit_sequence(BoringLogs(tuple(logs)))
    used = set()
    for log, row in zip(logs, result.assigned, strict=True):
        used.update(row)
        assert [result.units[i].soil for i in row] == [i.soil for i in log.intervals]
        for (i, j), (a, b) in zip(
            itertools.pairwise(row), itertools.pairwise(log.intervals), strict=True
        ):
            assert i == j if a.soil == b.soil else i < j
    assert used == set(range(len(result.units)))
    assert all(a.soil != b.soil for a, b in itertools.pairwise(result.units))
