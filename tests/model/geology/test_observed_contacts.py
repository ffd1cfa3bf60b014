"""Beds divided between the units above and below a lens that other borings met in them."""

from __future__ import annotations

import numpy as np
import pytest

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.logs.borings import Boring, BoringLogs, Interval
from wellring.model.geology.observed_contacts import observed_contacts
from wellring.model.geology.strata import LayerSurfaces, Strata, build_strata
from wellring.model.geology.surface_interpolation import METHODS
from wellring.model.geology.unit_sequence import unit_sequence


def boring(name: str, x: float, y: float, *beds: tuple[str, float], ground: float = 0.0) -> Boring:
    """A boring from (soil, bottom level) pairs."""
    tops = [ground, *(bottom for _, bottom in beds)]
    intervals = tuple(
        Interval(top, bottom, soil) for top, (soil, bottom) in zip(tops, beds, strict=False)
    )
    return Boring(name, x, y, ground, intervals[-1].bottom, intervals)


def built(borings: list[Boring], method: str = "kriging", base: float | None = None) -> Strata:
    return build_strata(BoringLogs(tuple(borings)), method, base, FaultLog())


def at_collars(strata: Strata, borings: list[Boring]) -> LayerSurfaces:
    x, y, ground = (np.array([getattr(b, k) for b in borings]) for k in ("x", "y", "ground"))
    return strata.surfaces(x, y, ground)


def square(extent: float, count: int = 30) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(
        np.linspace(-extent, 100 + extent, count), np.linspace(-extent, 100 + extent, count)
    )
    return x.ravel(), y.ravel()


def test_contacts_of_a_divided_bed():
    lens = (("sand", -5.0), ("silt", -6.0), ("sand", -12.0), ("gravel", -16.0))
    logs = BoringLogs(
        (
            boring("A", 0, 0, *lens),
            boring("B", 20, 0, *lens),
            boring("without", 40, 0, ("sand", -12.0), ("gravel", -16.0)),
            boring("short", 60, 0, ("sand", -9.0)),
            boring("shorter", 80, 0, ("sand", -5.5)),
            boring("thin", 90, 0, ("sand", -4.0), ("gravel", -16.0)),
        )
    )
    seen = observed_contacts(logs, unit_sequence(logs), "linear")
    nan = np.nan
    np.testing.assert_allclose(
        seen.levels.T,
        [
            [0, -5, -6, -12, nan],
            [0, -5, -6, -12, nan],
            [0, -5, -5, -12, nan],
            [0, -5, -5, nan, nan],
            [0, nan, nan, nan, nan],
            [0, -4, -4, -4, nan],
        ],
    )
    assert seen.last.tolist() == [3, 3, 3, 2, 0, 3]
    assert seen.final.tolist() == [-16, -16, -16, -9, -5.5, -16]
    assert seen.present[0].tolist() == [True] * 6
    assert seen.present[2].tolist() == [True, True, True, True, False, False]
    assert seen.absent[1].tolist() == [False, False, True, True, False, True]
    assert seen.divided[0].tolist() == [False, False, True, True, False, False]
    np.testing.assert_allclose(seen.room[0, 2], [0, -12])
    np.testing.assert_allclose(seen.thickness(2), [6, 6, 7, 4, nan, 0])


@pytest.mark.parametrize("method", METHODS)
def test_a_soil_without_the_lens_is_divided_at_the_depth_of_the_lens(method: str):
    # Sand to -12 on gravel; four middle borings of a 6 × 6 field have silt from -5 to -6 in it.
    # Given whole to the sand above the silt, the sand elsewhere would drag the silt to -12.
    logs = []
    for i in range(6):
        for j in range(6):
            sand: tuple[tuple[str, float], ...] = (("sand", -12.0),)
            if 2 <= i <= 3 and 2 <= j <= 3:
                sand = (("sand", -5.0), ("silt", -6.0), ("sand", -12.0))
            logs.append(boring(f"B{i}{j}", 20.0 * i, 20.0 * j, *sand, ("gravel", -16.0)))
    logs.append(boring("S", 10, 10, ("sand", -9.0)))
    strata = built(logs, method)
    assert [u.label for u in strata.units] == ["sand", "silt", "sand (2)", "gravel"]
    x, y = square(100)
    levels = strata.surfaces(x, y, np.zeros(x.size)).levels
    # Where the silt has ended the two sands may meet anywhere between its top and its bottom.
    assert (np.abs(levels[1:3] + 5.5) <= 0.5 + 1e-6).all()
    np.testing.assert_allclose(levels[3], -12.0, atol=1e-6)
    among = (np.abs(x - 50.0) <= 10.0) & (np.abs(y - 50.0) <= 10.0)  # between the four
    assert among.any()
    np.testing.assert_allclose(levels[1, among], -5.0, atol=1e-6)
    np.testing.assert_allclose(levels[2, among], -6.0, atol=1e-6)
    silt = levels[1] - levels[2]
    assert (silt[(x < 20) | (x > 80) | (y < 20) | (y > 80)] < 1e-6).all()
    rows = strata.describe()
    assert (rows[0].borings, rows[0].through, rows[2].through) == (37, 4, 4)
    assert rows[1].mean_thickness == pytest.approx(1.0)


@pytest.mark.parametrize("method", METHODS)
def test_a_divided_bed_keeps_the_contacts_around_it(method: str):
    # The lens lies far deeper than the thin sand of the last boring can reach.
    logs = [
        boring(f"B{i}", 20.0 * i, 7.0 * (i % 2), *beds)
        for i, beds in enumerate(
            [(("fill", -1.0), ("sand", -8.0), ("silt", -9.0), ("sand", -14.0), ("clay", -20.0))] * 4
            + [(("fill", -1.0), ("sand", -14.0), ("clay", -20.0))] * 2
            + [(("fill", -1.0), ("sand", -3.0), ("clay", -20.0))]
        )
    ]
    strata = built(logs, method)
    levels = at_collars(strata, logs).levels
    for column, log in enumerate(logs):
        for contact in [interval.bottom for interval in log.intervals]:
            assert np.abs(levels[:, column] - contact).min() < 1e-6
    np.testing.assert_allclose(levels[[1, 4], 6], [-1.0, -3.0], atol=1e-6)
    # One bed of sand to -14: where its two units meet in it no boring can tell.
    assert levels[[2, 4], 5] == pytest.approx([levels[3, 5], -14.0], abs=1e-6)
    # The silt ends about halfway to the boring without it, and does not dive before. Both its
    # contacts are at -3 in the last boring, 60 m on: on a straight line 1.4 m higher at x = 75.
    x = np.linspace(60.0, 80.0, 41)
    top, bottom = strata.surfaces(x, 7.0 - 7.0 * (x - 60.0) / 20.0, np.zeros(41)).levels[2:4]
    there = top - bottom > 0.05
    assert 65.0 < x[there].max() < 75.0
    assert (np.abs(0.5 * (top + bottom)[there] + 7.8) < 0.7 + 1e-6).all()


def test_where_a_lens_is_absent_its_depth_in_the_sand_is_not_taken_for_known():
    random = np.random.default_rng(6)
    logs = []
    for i in range(16):
        x, y = 30.0 * (i % 4), 30.0 * (i // 4)
        lens = (("sand", float(random.normal(-5, 0.5))), ("silt", -7.0)) if i % 4 < 2 else ()
        logs.append(boring(f"B{i}", x, y, *lens, ("sand", -12.0), ("gravel", -16.0)))
    std = at_collars(built(logs), logs).std
    assert std is not None
    with_lens = np.arange(16) % 4 < 2
    np.testing.assert_allclose(std[1, with_lens], 0.0, atol=1e-6)
    assert (std[1, ~with_lens] > 0.1).all()
    np.testing.assert_allclose(std[3], 0.0, atol=1e-6)
