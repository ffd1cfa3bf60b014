"""Layer surfaces from boring logs."""

from __future__ import annotations

import numpy as np
import pytest

from wellring.inputs.basics.faults import FaultLog, InputFaults
from wellring.inputs.logs.borings import Boring, BoringLogs, Interval
from wellring.model.geology.strata import LayerSurfaces, Strata, build_strata
from wellring.model.geology.surface_interpolation import METHODS

SOILS = ("fill", "clay", "sand", "silt", "gravel")


def boring(name: str, x: float, y: float, *beds: tuple[str, float], ground: float = 0.0) -> Boring:
    """A boring from (soil, bottom level) pairs."""
    tops = [ground, *(bottom for _, bottom in beds)]
    intervals = tuple(
        Interval(top, bottom, soil) for top, (soil, bottom) in zip(tops, beds, strict=False)
    )
    return Boring(name, x, y, ground, intervals[-1].bottom, intervals)


def built(borings: list[Boring], method: str = "kriging", base: float | None = None) -> Strata:
    return build_strata(BoringLogs(tuple(borings)), method, base, FaultLog())


def at(strata: Strata, x: float, y: float, ground: float = 0.0) -> np.ndarray:
    return strata.surfaces(np.array([x]), np.array([y]), np.array([ground])).levels[:, 0]


def at_collars(strata: Strata, borings: list[Boring]) -> LayerSurfaces:
    x, y, ground = (np.array([getattr(b, k) for b in borings]) for k in ("x", "y", "ground"))
    return strata.surfaces(x, y, ground)


def square(extent: float, count: int = 30) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(
        np.linspace(-extent, 100 + extent, count), np.linspace(-extent, 100 + extent, count)
    )
    return x.ravel(), y.ravel()


def thickness(strata: Strata, label: str, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    unit = [u.label for u in strata.units].index(label)
    levels = strata.surfaces(x, y, np.zeros(x.size)).levels
    return levels[unit] - levels[unit + 1]


def random_logs(seed: int) -> list[Boring]:
    """Logs as bad as they come: any soils in any order, some stopping short, uneven ground."""
    random = np.random.default_rng(seed)
    logs = []
    for number in range(int(random.integers(1, 14))):
        ground = float(random.normal(0, 1))
        bottoms = ground - np.cumsum(random.uniform(0.2, 5.0, int(random.integers(1, 8))))
        soils = random.choice(SOILS, bottoms.size).tolist()
        x, y = random.uniform(0, 100, 2).tolist()
        beds = zip(soils, bottoms.tolist(), strict=True)
        logs.append(boring(f"B{number}", x, y, *beds, ground=ground))
    return logs


def assert_honoured(strata: Strata, borings: list[Boring], levels: np.ndarray) -> None:
    """Every contact seen lies where it was logged, between the units it separates."""
    floor = strata.base_level
    soils = np.array([unit.soil for unit in strata.units])
    for column, log in enumerate(borings):
        tops, bottoms = levels[:-1, column], levels[1:, column]
        for interval in log.intervals:
            middle = (max(interval.top, floor) + max(interval.bottom, floor)) / 2
            if interval.top - floor < 1e-3:
                continue
            holds = (bottoms < middle) & (middle < tops)
            assert soils[holds].tolist() == [interval.soil]
        contacts = [
            upper.bottom
            for upper, lower in zip(log.intervals, log.intervals[1:], strict=False)
            if upper.soil != lower.soil and upper.bottom > floor
        ]
        for contact in contacts:
            assert np.abs(levels[:, column] - contact).min() < 1e-6


def sloping_site(count: int = 16, seed: int = 1) -> list[Boring]:
    random = np.random.default_rng(seed)
    logs = []
    for number in range(count):
        x, y = random.uniform(0, 100, 2).tolist()
        fill, clay = -1.5 + 0.01 * x, -5.0 + 0.03 * x - 0.02 * y
        beds = (("fill", fill), ("clay", clay), ("sand", -20.0))
        logs.append(boring(f"B{number}", x, y, *beds))
    return logs


@pytest.mark.parametrize("method", ["kriging", "linear"])
def test_plane_layers_are_recovered(method: str):
    strata = built(sloping_site(), method, base=-20.0)
    x, y = np.array([40.0, 55, 60]), np.array([50.0, 45, 60])
    levels = strata.surfaces(x, y, np.zeros(3)).levels
    assert [u.label for u in strata.units] == ["fill", "clay", "sand"]
    np.testing.assert_allclose(levels[0], 0.0)
    np.testing.assert_allclose(levels[1], -1.5 + 0.01 * x, atol=1e-6)
    np.testing.assert_allclose(levels[2], -5.0 + 0.03 * x - 0.02 * y, atol=1e-6)
    np.testing.assert_allclose(levels[3], -20.0)


@pytest.mark.parametrize("method", METHODS)
def test_steep_layers_do_not_run_away_beyond_the_borings(method: str):
    strata = built(sloping_site(), method, base=-20.0)
    x, y = square(5000)
    levels = strata.surfaces(x, y, np.zeros(x.size)).levels
    # The clay's bottom at the site lies between -7 and -2; the slope of 0.036 is carried on for
    # half the site's extent, 60 to 70 m, at the most.
    assert levels[2].min() > -7.0 - 0.036 * 72
    assert levels[2].max() <= 0.0


@pytest.mark.parametrize("method", METHODS)
def test_one_boring_gives_level_layers(method: str):
    strata = built([boring("B1", 10, 20, ("fill", -1), ("sand", -8), ("clay", -12))], method)
    x, y = square(1000, 5)
    surfaces = strata.surfaces(x, y, np.zeros(x.size))
    np.testing.assert_allclose(surfaces.levels, [[0], [-1], [-8], [-12]] * np.ones((1, x.size)))


@pytest.mark.parametrize("seed", range(0, 60, 5))
def test_realisations_honour_random_logs(seed: int):
    logs = random_logs(seed)
    strata = build_strata(BoringLogs(tuple(logs)), "kriging", None, FaultLog(), 1 + seed)
    surfaces = at_collars(strata, logs)
    assert_honoured(strata, logs, surfaces.levels)
    x, y = square(150, 8)
    levels = strata.surfaces(x, y, np.zeros(x.size)).levels
    assert np.isfinite(levels).all()
    assert (np.diff(levels, axis=0) <= 1e-9).all()


@pytest.mark.parametrize("seed", range(500))
def test_random_logs_never_cross_and_are_honoured(seed: int):
    # Kriging takes the longest and differs from the others only in the interpolation: one in 5.
    method = "kriging" if seed % 5 == 0 else ("linear", "nearest")[seed % 2]
    logs = random_logs(seed)
    strata = built(logs, method)
    surfaces = at_collars(strata, logs)
    assert_honoured(strata, logs, surfaces.levels)
    x, y = square(150, 12)
    ground = np.random.default_rng(seed).normal(0, 3, x.size)
    levels = strata.surfaces(x, y, ground).levels
    assert levels.shape == (len(strata.units) + 1, x.size)
    assert np.isfinite(levels).all()
    assert (np.diff(levels, axis=0) <= 0).all()
    np.testing.assert_array_equal(levels[0], ground)
    np.testing.assert_array_equal(levels[-1], np.minimum(strata.base_level, ground))


def lens_site() -> list[Boring]:
    """A 3 m silt lens in the two middle borings of a row of four, 30 m apart, two rows."""
    logs = []
    for row in range(2):
        for column in range(4):
            x, y, name = 30.0 * column, 40.0 * row, f"B{row}{column}"
            if column in (1, 2):
                beds = (("clay", -4.0), ("silt", -7.0), ("sand", -15.0))
            else:
                beds = (("clay", -5.5), ("sand", -15.0))
            logs.append(boring(name, x, y, *beds))
    return logs


@pytest.mark.parametrize("method", METHODS)
def test_a_pinching_unit_ends_between_the_borings(method: str):
    strata = built(lens_site(), method)
    along = np.linspace(0, 90, 181)
    silt = thickness(strata, "silt", along, np.full(181, 0.0))
    np.testing.assert_allclose(silt[[60, 120]], 3.0, atol=1e-6)
    np.testing.assert_allclose(silt[[0, 180]], 0.0, atol=1e-6)
    # gone over at least the outer quarter of the way, there over the inner quarter
    assert (silt[along < 7.5] == 0).all()
    assert (silt[along > 82.5] == 0).all()
    assert (silt[(along > 22.5) & (along < 67.5)] > 0).all()


def test_a_pinching_unit_stays_gone_beyond_borings_without_it():
    strata = built(lens_site(), "kriging")
    far = np.linspace(100, 1500, 50)
    assert (thickness(strata, "silt", far, np.full(50, 20.0)) < 0.5).all()


@pytest.mark.parametrize("method", METHODS)
def test_a_lens_met_in_one_boring_is_kept_and_local(method: str):
    logs = [
        boring(f"B{i}{j}", 25.0 * i, 25.0 * j, ("clay", -6.0), ("sand", -15.0))
        for i in range(5)
        for j in range(5)
        if (i, j) != (2, 2)
    ]
    logs.append(boring("L", 50, 50, ("clay", -3), ("gravel", -4), ("clay", -6), ("sand", -15)))
    faults = FaultLog()
    strata = build_strata(BoringLogs(tuple(logs)), method, None, faults)
    assert [u.label for u in strata.units] == ["clay", "gravel", "clay (2)", "sand"]
    x, y = square(300, 101)
    seam = thickness(strata, "gravel", x, y)
    assert thickness(strata, "gravel", np.array([50.0]), np.array([50.0]))[0] == pytest.approx(1.0)
    there = seam > 0
    assert there.any()
    assert (np.hypot(x - 50, y - 50)[there] < 25).all()
    assert any("'gravel'" in text and "(L)" in text for text in faults.warnings)


@pytest.mark.parametrize("method", METHODS)
def test_repeated_soils_become_separate_units(method: str):
    logs = [
        boring(
            f"B{i}", 20.0 * i, 15.0 * (i % 3), ("sand", -3 - 0.1 * i), ("clay", -6), ("sand", -15)
        )
        for i in range(7)
    ]
    strata = built(logs, method)
    assert [(u.label, u.soil) for u in strata.units] == [
        ("sand", "sand"),
        ("clay", "clay"),
        ("sand (2)", "sand"),
    ]
    assert_honoured(strata, logs, at_collars(strata, logs).levels)


@pytest.mark.parametrize("method", METHODS)
def test_a_short_boring_pushes_the_surface_below_its_end(method: str):
    # The clay's bottom rises to -4 around a boring that was still in clay at -6.
    logs = [
        boring(f"B{i}", 50.0 * (i % 3), 50.0 * (i // 3), ("clay", -4.0), ("sand", -15.0))
        for i in range(9)
        if i != 4
    ]
    short = boring("S", 50, 50, ("clay", -6.0))
    strata = built([*logs, short], method)
    assert at(strata, 50, 50)[1] == pytest.approx(-6.0, abs=1e-6)
    assert at(strata, 0, 0)[1] == pytest.approx(-4.0, abs=1e-6)


@pytest.mark.parametrize("method", METHODS)
def test_a_short_boring_that_agrees_changes_nothing(method: str):
    logs = [
        boring(f"B{i}", 50.0 * (i % 3), 50.0 * (i // 3), ("clay", -4.0 - 0.3 * i), ("sand", -15))
        for i in range(9)
    ]
    x, y = square(20, 9)
    without = built(logs, method).surfaces(x, y, np.zeros(x.size)).levels
    short = boring("S", 52, 57, ("clay", -2.0))
    also = built([*logs, short], method).surfaces(x, y, np.zeros(x.size)).levels
    np.testing.assert_array_equal(without, also)


def test_a_short_boring_in_a_pinching_unit_keeps_what_it_saw():
    logs = [*lens_site(), boring("S", 45, 20, ("clay", -4.0), ("silt", -9.0))]
    strata = built(logs)
    silt = thickness(strata, "silt", np.array([45.0]), np.array([20.0]))[0]
    assert silt == pytest.approx(5.0, abs=1e-6)
    assert_honoured(strata, logs, at_collars(strata, logs).levels)


def test_surfaces_are_cut_off_at_the_ground_and_the_hill_goes_to_the_top_unit():
    strata = built(sloping_site(), base=-20.0)
    cut = at(strata, 50, 50, ground=-8.0)
    assert cut[1] == cut[2] == -8.0
    hill = at(strata, 50, 50, ground=4.0)
    assert hill[1] == pytest.approx(-1.0, abs=1e-6)


def test_where_the_top_unit_pinches_out_a_hill_does_not_bring_it_back():
    logs = [
        boring(f"B{i}", 20.0 * i, 10.0 * (i % 2), *beds)
        for i, beds in enumerate(
            [(("fill", -2.0), ("clay", -6.0), ("sand", -12.0))] * 3
            + [(("clay", -6.0), ("sand", -12.0))] * 3
        )
    ]
    strata = built(logs)
    assert [u.label for u in strata.units] == ["fill", "clay", "sand"]
    without_fill, with_fill = at(strata, 100, 10, ground=1.5), at(strata, 0, 0, ground=1.5)
    assert without_fill[1] == 1.5
    assert with_fill[1] == pytest.approx(-2.0, abs=1e-6)


def test_order_of_borings_does_not_matter():
    logs = [log for seed in (3, 4) for log in random_logs(seed)]
    logs = [boring_with_id(log, f"N{i}") for i, log in enumerate(logs)]
    x, y = square(100, 10)
    one, other = built(logs), built(logs[::-1])
    assert one.units == other.units
    ground = np.zeros(x.size)
    np.testing.assert_allclose(
        one.surfaces(x, y, ground).levels, other.surfaces(x, y, ground).levels, atol=1e-9
    )


def boring_with_id(log: Boring, name: str) -> Boring:
    return Boring(name, log.x, log.y, log.ground, log.final, log.intervals)


def test_std_is_zero_where_seen_and_grows_away():
    random = np.random.default_rng(5)
    logs = [
        boring(
            f"B{i}",
            *random.uniform(0, 100, 2).tolist(),
            ("fill", float(random.normal(-2, 0.4))),
            ("clay", float(random.normal(-6, 0.8))),
            ("sand", -15.0),
        )
        for i in range(12)
    ]
    strata = built(logs)
    seen = at_collars(strata, logs).std
    assert seen is not None
    assert seen.shape == (4, 12)
    np.testing.assert_allclose(seen, 0.0, atol=1e-6)
    away = strata.surfaces(np.array([500.0]), np.array([50.0]), np.zeros(1)).std
    assert away is not None
    assert away[0, 0] == away[3, 0] == 0
    assert 0.2 < away[1, 0] < 0.8
    assert 0.4 < away[2, 0] < 1.6
    assert built(logs, "linear").surfaces(np.zeros(1), np.zeros(1), np.zeros(1)).std is None


def test_base_below_and_above_the_borings_is_warned_of():
    logs = sloping_site(6)
    faults = FaultLog()
    strata = build_strata(BoringLogs(tuple(logs)), "linear", -24.0, faults)
    assert at(strata, 50, 50)[-1] == -24.0
    assert any("6 of 6 borings end above the model floor (-24 m)" in w for w in faults.warnings)

    faults = FaultLog()
    strata = build_strata(BoringLogs(tuple(logs)), "linear", -12.0, faults)
    assert at(strata, 50, 50)[-1] == -12.0
    assert any("lies above the end of 6 of 6 borings" in w for w in faults.warnings)


def test_without_a_base_the_deepest_boring_gives_the_floor():
    logs = [boring("A", 0, 0, ("clay", -5), ("sand", -9)), boring("B", 30, 0, ("clay", -4.0))]
    faults = FaultLog()
    strata = build_strata(BoringLogs(tuple(logs)), "kriging", None, faults)
    assert strata.base_level == -9.0
    assert any("where the deepest boring (A) ends" in w for w in faults.warnings)
    assert any("1 of 2 borings end above" in w for w in faults.warnings)


def test_faults_are_told_together():
    with pytest.raises(InputFaults) as caught:
        build_strata(BoringLogs(tuple(sloping_site(3))), "splines", 2.0, FaultLog())
    text = str(caught.value)
    assert "borings.surfaces is 'splines'" in text
    assert "borings.base is '2.0'" in text
    with pytest.raises(InputFaults, match="at least one boring"):
        build_strata(BoringLogs(()), "linear", None, FaultLog())


def test_borings_without_layers_and_twins_are_told():
    logs = [*sloping_site(5), Boring("E", 5.0, 5.0, 0.0, 0.0, ())]
    logs.append(boring_with_id(logs[0], "T"))
    faults = FaultLog()
    strata = build_strata(BoringLogs(tuple(logs)), "kriging", -20.0, faults)
    assert any("left out: E" in w for w in faults.warnings)
    assert any("B0, T stand at one place" in w for w in faults.warnings)
    assert at(strata, logs[0].x, logs[0].y)[2] == pytest.approx(logs[0].intervals[1].bottom)


def test_describe_counts_what_the_borings_saw():
    rows = built(lens_site()).describe()
    assert [row.unit for row in rows] == ["clay", "silt", "sand"]
    clay, silt, sand = rows
    assert (clay.borings, clay.through) == (8, 8)
    assert (clay.min_thickness, clay.max_thickness) == (4.0, 5.5)
    assert (silt.borings, silt.mean_thickness) == (4, 3.0)
    assert (silt.mean_top, silt.mean_bottom) == (-4.0, -7.0)
    assert (sand.borings, sand.through, sand.mean_thickness) == (8, 0, None)
    assert sand.mean_top == pytest.approx((-7.0 * 4 - 5.5 * 4) / 8)
