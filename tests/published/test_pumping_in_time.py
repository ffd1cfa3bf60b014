"""C03, C04, C05, C07 (b): wells in time, with the default time steps unless a test says why not.

Theis (1935), Cooper and Jacob (1946), Hantush and Jacob (1955), superposition of Theis for a ring
and for the recovery after pumping. The figures are these formulas' own, worked out elsewhere.
"""

import numpy as np
import pytest
from scipy.special import exp1

DAY = 86400.0
T, S, THICK = 500.0, 1e-3, 25.0
"""m²/d, –, m: the aquifer of C03."""
TOP = -20.0
CLAY = {"kh": 1e-11, "kv": 1e-11, "ss": 1e-6}
SAND = {"kh": T / THICK / DAY, "kv": T / THICK / DAY, "ss": S / THICK}
MID = TOP - THICK / 2


def confined(check_site, wells, rate, points, stages, time, source=8000.0, **more):
    return check_site(
        ground=0.0,
        layers=[("clay", TOP), ("sand", TOP - THICK)],
        soils={"clay": CLAY, "sand": SAND},
        level=-1.0,
        pit=check_site.square(5.0),
        source_distance=source,
        drainage=[
            {
                "points": wells,
                "screen": [TOP - THICK, TOP],
                "diameter": 0.3,
                "rate": rate / DAY,
                **more,
            }
        ],
        points={name: (x, y, MID) for name, (x, y) in points.items()},
        stages=stages,
        time=time,
    )


def theis(q, r, t):
    return q / (4 * np.pi * T) * exp1(r**2 * S / (4 * T * np.asarray(t)))


@pytest.fixture
def one_well(check_site):
    return confined(
        check_site,
        [(0, 0)],
        1000.0,
        {"10 m": (10, 0), "50 m": (50, 0), "200 m": (200, 0)},
        [
            {"name": "pumping", "day": 0, "lasts": 10},
        ],
        {},
    )


@pytest.mark.parametrize(
    "grid",
    [pytest.param(None, marks=pytest.mark.slow), {"sublayer": 12.5}],
    ids=["default", "quick"],
)
def test_one_well(solve, within, one_well, grid):
    """C03, C04: Q 1000 m³/d. The late slope is Cooper and Jacob's 2.3026·Q/(4πT).

    The well takes water all over the sand's height: sublayers add cells alone.
    """
    one_well.grid = grid
    solved = solve(one_well)

    def fall(point, day):
        return -1 - solved.level_in_time(point, day)

    within("s at 50 m, 1 d", fall("50 m", 1), 0.972221, 2)
    within("s at 10 m, 1 d", fall("10 m", 1), 1.48433, 2)
    within("s at 200 m, 5 d", fall("200 m", 5), 0.787537, 2)
    slope = fall("10 m", 10) - fall("10 m", 1)
    within("s a tenfold of time", slope, 0.366468, 2)
    assert theis(1000, 50, 1) == pytest.approx(0.972221, rel=1e-5)


def test_reach_of_the_straight_line(solve, check_site, within):
    """C04: after 30 d the line of s over ln r ends at 1.5·√(T·t/S) (Cooper and Jacob 1946).

    A step of Δ makes the model's clock late by Δ/2 and the reach short by Δ/(4t): default steps of
    1.5 d take 1.2 %, hence half of that here. The source stands well beyond the reach.
    """
    distances = {"10 m": 10.0, "50 m": 50.0, "200 m": 200.0}
    site = confined(
        check_site,
        [(0, 0)],
        1000.0,
        {name: (r, 0) for name, r in distances.items()},
        [{"name": "pumping", "day": 0, "lasts": 30}],
        {"first_step": 0.2, "longest_step": 0.75},
        source=20000.0,
    )
    site.grid = {"sublayer": THICK, "growth": 1.4}
    solved = solve(site)
    fall = [-1 - solved.level_in_time(name, 30) for name in distances]
    slope, at_one_metre = np.polyfit(np.log(list(distances.values())), fall, 1)
    within("reach of the line", np.exp(-at_one_metre / slope), 5809.48, 1)
    within("its slope", -slope, 1000 / (2 * np.pi * T), 2)


@pytest.mark.slow
def test_one_well_early(solve, within, one_well):
    """A quarter of an hour after the start, which asks for a first step of seconds."""
    one_well.stages = [{"name": "pumping", "day": 0, "lasts": 2 / 24}]
    one_well.time = {"first_step": 10 / DAY}
    one_well.source_distance = 2000.0
    solved = solve(one_well)
    within("s at 50 m, 0.01 d", -1 - solved.level_in_time("50 m", 0.01), 0.258376, 5)


@pytest.mark.slow
def test_recovery(solve, check_site, within):
    """Pumped for a day, then left: Theis with a second well that gives back from then on."""
    solved = solve(
        confined(
            check_site,
            [(0, 0)],
            1000.0,
            {"50 m": (50, 0)},
            [{"name": "pumping", "day": 0}, {"name": "recovery", "day": 1, "lasts": 2}],
            {"first_step": 0.002},
            source=4000.0,
            until_stage="pumping",
        )
    )
    for day in (1.1, 1.5, 2.0, 3.0):
        left = theis(1000, 50, day) - theis(1000, 50, day - 1)
        within(f"s left at 50 m, {day} d", -1 - solved.level_in_time("50 m", day), left, 3)


@pytest.mark.parametrize(
    "grid",
    [pytest.param(None, marks=pytest.mark.slow), {"sublayer": THICK, "cell": 4.0}],
    ids=["default", "quick"],
)
def test_ring_of_wells(solve, check_site, within, grid):
    """C07 (b): 8 wells of 400 m³/d on radius 20 m; the sum of eight times Theis."""
    angle = np.arange(8) * np.pi / 4
    site = confined(
        check_site,
        np.column_stack([20 * np.cos(angle), 20 * np.sin(angle)]).tolist(),
        400.0,
        {"centre": (0, 0), "off site": (200, 0)},
        [{"name": "pumping", "day": 0, "lasts": 30}],
        {},
        source=12000.0,
    )
    site.grid = grid
    solved = solve(site)
    within("s at the centre, 1 d", -1 - solved.level_in_time("centre", 1), 4.0439, 3)
    within("s at the centre, 30 d", -1 - solved.level_in_time("centre", 30), 5.77602, 3)
    within("s at 200 m, 30 d", -1 - solved.level_in_time("off site", 30), 3.43096, 3)
    volume = 8 * 400 * 30
    within("volume", solved.run.answers.answers["time.volume"].value, volume, 0.1)


@pytest.mark.slow
def test_leaky_aquifer(solve, check_site, within):
    """T 400 m²/d, S 5e-4, c 500 d, Q 1200 m³/d; level above held, a roof without storage."""
    kv = 0.5 / (500 * DAY)
    solved = solve(
        check_site.leaky(
            depth=20.5,
            thick=20.0,
            roof={"kh": kv / 10, "kv": kv},
            sand={"kh": 20 / DAY, "kv": 20 / DAY, "ss": 5e-4 / 20},
            rate=1200 / DAY,
            source_distance=3000.0,
            points={name: (r, 0.0, -30.0) for name, r in (("20", 20), ("50", 50), ("100", 100))},
            stages=[{"name": "pumping", "day": 0, "lasts": 2}],
            time={"first_step": 0.002},
        )
    )
    for point, day, s in (
        ("20", 0.1, 1.37243),
        ("50", 0.1, 0.939467),
        ("50", 1, 1.10552),
        ("100", 1, 0.78529),
    ):
        within(f"s at {point} m, {day} d", -0.5 - solved.level_in_time(point, day), s, 3)
