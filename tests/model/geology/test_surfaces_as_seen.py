"""Surfaces honour what was seen: tops and bottoms both, and nothing below the end of a boring."""

from __future__ import annotations

import numpy as np
import pytest

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.logs.borings import Boring, BoringLogs, Interval
from wellring.model.geology.strata import Strata, build_strata
from wellring.model.geology.surface_checks import warn_of_excursions
from wellring.model.geology.surface_interpolation import METHODS


def boring(name: str, x: float, y: float, *beds: tuple[str, float], ground: float = 0.0) -> Boring:
    """A boring from (soil, bottom level) pairs."""
    tops = [ground, *(bottom for _, bottom in beds)]
    intervals = tuple(
        Interval(top, bottom, soil) for top, (soil, bottom) in zip(tops, beds, strict=False)
    )
    return Boring(name, x, y, ground, intervals[-1].bottom, intervals)


def built(
    borings: list[Boring], method: str = "kriging", base: float | None = None, realisation: int = 0
) -> Strata:
    return build_strata(BoringLogs(tuple(borings)), method, base, FaultLog(), realisation)


def field(extent: float = 50.0, count: int = 41) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.linspace(-extent, 180 + extent, count), np.linspace(-extent, 60, count))
    return x.ravel(), y.ravel()


def soil_top(strata: Strata, soil: str, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Level of the highest unit of that soil, whatever lies on it [m]."""
    unit = [unit.soil for unit in strata.units].index(soil)
    return strata.surfaces(x, y, np.zeros(x.size)).levels[unit]


def lateral_change() -> list[Boring]:
    """Finding G1: fill to -5, clay in the west and sand in the east to -25, rock."""
    return [
        boring(f"B{i}{j}", 60.0 * i, 60.0 * j, ("fill", -5), (soil, -25), ("rock", -35))
        for i, soil in enumerate(("clay", "clay", "sand", "sand"))
        for j in range(2)
    ]


@pytest.mark.parametrize("realisation", [0, 3])
@pytest.mark.parametrize("method", METHODS)
def test_a_lateral_change_leaves_the_rock_where_every_boring_met_it(method: str, realisation: int):
    strata = built(lateral_change(), method, realisation=realisation if method == "kriging" else 0)
    x, y = field()
    levels = strata.surfaces(x, y, np.zeros(x.size)).levels
    assert {unit.soil for unit in strata.units[1:3]} == {"clay", "sand"}
    np.testing.assert_allclose(levels[1], -5.0, atol=1e-5)
    np.testing.assert_allclose(levels[3], -25.0, atol=1e-5)
    if realisation:
        return
    # Clay and sand share the 20 m: whole in their own part, changing in the middle half.
    clay = [unit.soil for unit in strata.units].index("clay")
    thick = levels[clay] - levels[clay + 1]
    between = y >= 0.0
    np.testing.assert_allclose(thick[between & (x < 75.0)], 20.0, atol=1e-4)
    np.testing.assert_allclose(thick[between & (x > 105.0)], 0.0, atol=1e-4)


@pytest.mark.parametrize("method", ["kriging", "linear"])
def test_a_channel_cut_into_clay_moves_the_clays_top_only(method: str):
    logs = []
    for i in range(5):
        for j in range(3):
            gravel = (("gravel", -11.0),) if i == 2 else ()
            beds = (("fill", -3.0), *gravel, ("clay", -15.0), ("sand", -20.0))
            logs.append(boring(f"B{i}{j}", 40.0 * i, 30.0 * j, *beds))
    strata = built(logs, method)
    x, y = field(0.0)
    levels = strata.surfaces(x, y, np.zeros(x.size)).levels
    assert [unit.soil for unit in strata.units] == ["fill", "gravel", "clay", "sand"]
    np.testing.assert_allclose(levels[1], -3.0, atol=1e-4)
    np.testing.assert_allclose(levels[3], -15.0, atol=1e-4)
    assert (levels[2] > -11.0 - 1e-4).all()
    assert ((levels[1] - levels[2])[np.abs(x - 80.0) > 30.0] < 1e-4).all()


def filled_dock(end: float = -9.7) -> list[Boring]:
    """Finding G2 in invented numbers: 14 borings met the clay's top at -6.1 to -10.8, some of
    them under alluvium and gravel; one hole in their midst was given up in fill at `end`."""
    tops = (-6.1, -7.0, -8.2, -6.8, -7.7, -10.8, -7.4, -6.5, -8.9, -7.9, -7.2, -8.4, -6.9, -7.6)
    logs = []
    for number, top in enumerate(tops):
        place = 45.0 * (number % 5) - 20.0, 40.0 * (number // 5) - 30.0
        beds: list[tuple[str, float]] = [("fill", -3.0)]
        if number % 2:
            beds += [("alluvium", top + 1.5), ("gravel", top)]
        elif number % 4:
            beds += [("alluvium", top)]
        else:
            beds = [("fill", top)]
        logs.append(boring(f"B{number}", *place, *beds, ("clay", -20.0)))
    return [*logs, boring("given up", 85.0, 28.0, ("fill", end))]


@pytest.mark.parametrize("method", METHODS)
def test_a_hole_given_up_in_fill_pushes_nothing_below_its_end(method: str):
    x, y = field(0.0, 61)
    logs = filled_dock()
    without = soil_top(built(logs[:-1], method), "clay", x, y)
    strata = built(logs, method)
    clay = soil_top(strata, "clay", x, y)
    # As deep as the hole's end or the deepest boring, whichever is lower, and below that by less
    # than the contact's own error.
    assert clay.min() > -10.8 - 0.3
    assert (clay >= np.minimum(without, -9.7) - strata.contacts[2].error).all()
    at_hole = built(logs, method).surfaces(np.array([85.0]), np.array([28.0]), np.zeros(1)).levels
    assert at_hole[1, 0] <= -9.7 + 1e-6
    assert soil_top(built(logs, method), "clay", np.array([85.0]), np.array([28.0]))[0] > -10.9


def test_short_holes_leave_contacts_below_their_ends_as_the_deep_ones_saw_them():
    deep = [
        boring(f"D{i}", 60.0 * (i % 4), 50.0 * (i // 4) - 40.0, ("fill", -3), ("clay", -10),
               ("sand", -18), ("rock", -25))
        for i in range(8)
    ]  # fmt: skip
    short = [
        boring(f"S{i}", 30.0 + 50.0 * i, -20.0, ("fill", -3.0), ("clay", -8)) for i in range(3)
    ]
    x, y = field(0.0)
    np.testing.assert_allclose(
        built([*deep, *short], base=-25.0).surfaces(x, y, np.zeros(x.size)).levels,
        built(deep, base=-25.0).surfaces(x, y, np.zeros(x.size)).levels,
        atol=1e-6,
    )


def test_a_surface_that_leaves_the_range_of_its_borings_is_warned_of_with_place_and_amount():
    # A plane dipping 1 in 10 is carried on beyond the borings, by half their extent of 226 m.
    logs = [
        boring(f"B{i}{j}", 40.0 * i, 40.0 * j, ("clay", -10.0 - 4.0 * i), ("sand", -60.0))
        for i in range(5)
        for j in range(5)
    ]
    strata = built(logs)
    x, y = np.array([80.0, 300.0]), np.array([80.0, 80.0])
    surfaces, faults = strata.surfaces(x, y, np.zeros(2)), FaultLog()
    warn_of_excursions(strata, surfaces, x, y, faults)
    (text,) = faults.warnings
    # Hand calculation: borings at x = 160 have -26.0; 113 m on it is 11.3 m deeper.
    assert "bottom of 'clay'" in text
    assert "(300, 80)" in text
    assert "11.3 m" in text
    faults = FaultLog()
    inside = strata.surfaces(x[:1], y[:1], np.zeros(1))
    warn_of_excursions(strata, inside, x[:1], y[:1], faults)
    assert not faults.warnings
