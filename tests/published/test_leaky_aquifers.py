"""C05, C17 and a building pit: aquifers that are fed through tight layers.

De Glee (1930): s = Q/(2πT)·K0(r/λ). Two aquifers: Hemker (1984). The building pit with a leaky wall
is solved beside the run by timflow 0.5, analytic elements. The tight layers are thin in the model
and the level above them is held, so that nothing flows along them and the aquifers stay full.
"""

import warnings

import numpy as np
import pytest
from scipy.special import k0

DAY = 86400.0
HELD, TOP = -0.5, -20.0
EVERYWHERE = [(-9000, -9000), (9000, -9000), (9000, 9000), (-9000, 9000)]


def leaky(check_site, half, layers, source, drainage, **more):
    """Layers as (name, thickness, resistance [d] or conductivity [m/d]) below the held top."""
    soils = {"top": {"kh": 1e-3, "kv": 1e-3}}
    stack, bottom = [("top", TOP)], TOP
    for name, thickness, resistance, k in layers:
        kv = thickness / (resistance * DAY) if resistance else k / DAY
        soils[name] = {"kh": kv / 10 if resistance else kv, "kv": kv}
        bottom -= thickness
        stack.append((name, bottom))
    return check_site(
        ground=0.0,
        layers=stack,
        soils=soils,
        level=HELD,
        pit=half if isinstance(half, list) else check_site.square(half),
        source_distance=source,
        boundaries=[{"kind": "fixed_head", "polygon": EVERYWHERE, "head": HELD, "soils": ["top"]}],
        drainage=drainage,
        **more,
    )


def test_one_leaky_aquifer(solve, check_site, within):
    """T 400 m²/d, c 500 d, Q 1200 m³/d: λ 447 m."""
    site = leaky(
        check_site,
        10.0,
        [("aquitard", 0.5, 500, None), ("sand", 20.0, None, 20.0)],
        4000.0,
        [{"points": [(0, 0)], "screen": [-40.5, -20.5], "diameter": 0.3, "rate": 1200 / DAY}],
        points={"near": (100.0, 0.0, -30.0), "far": (0.0, 500.0, -30.0)},
    )
    solved = solve(site)
    for r, s in ((10, 1.87023), (50, 1.10642), (100, 0.78619), (500, 0.170237)):
        within(f"s at {r} m", HELD - solved.ring_head("sand", r), s, 2)
    within("s at 100 m, an answer", HELD - solved.answer("level.near"), 0.78619, 2)
    within("s at 500 m, an answer", HELD - solved.answer("level.far"), 0.170237, 2)
    assert 1200 / (2 * np.pi * 400) * k0(10 / 447.214) == pytest.approx(1.87023, rel=1e-5)


@pytest.mark.slow
def test_two_leaky_aquifers(solve, check_site, within):
    """T 200 under c 1000 d, T 800 m²/d under c 400 d, 2000 m³/d from the lower one."""
    layers = [
        ("roof", 0.5, 1000, None),
        ("upper", 10.0, None, 20.0),
        ("between", 1.0, 400, None),
        ("lower", 20.0, None, 40.0),
    ]
    solved = solve(
        leaky(
            check_site,
            10.0,
            layers,
            6000.0,
            [{"points": [(0, 0)], "screen": [-51.5, -31.5], "diameter": 0.4, "rate": 2000 / DAY}],
        )
    )
    for r, upper, lower in (
        (10, 0.42065, 1.84734),
        (50, 0.41320, 1.20914),
        (100, 0.39767, 0.93820),
        (300, 0.31789, 0.53051),
        (1000, 0.12768, 0.17339),
    ):
        within(f"s of the upper aquifer at {r} m", HELD - solved.ring_head("upper", r), upper, 3)
        within(f"s of the lower aquifer at {r} m", HELD - solved.ring_head("lower", r), lower, 3)


WELLS = [(x, y) for x in (-20.0, 0.0, 20.0) for y in (-12.0, 12.0)]
CORNERS = [(-30.0, -20.0), (30.0, -20.0), (30.0, 20.0), (-30.0, 20.0)]
PLACES = (0.0, 29.0, 31.0, 40.0, 60.0, 130.0)


def analytic_elements(resistance):
    """Heads of both aquifers on the axis by timflow; `resistance` of the wall [d] or None."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the reference's own
        import timflow.steady as timflow

        layers = {"kaq": [10, 30], "z": [2, 0, -10, -13, -30], "c": [500, 200]}
        model = timflow.ModelMaq(topboundary="semi", hstar=0, **layers)
        for x, y in WELLS:
            timflow.Well(model, xw=x, yw=y, Qw=100, rw=0.15, layers=[0])
        if resistance is not None:
            timflow.LeakyBuildingPitMaq(
                model,
                xy=[*CORNERS, CORNERS[0]],
                topboundary="semi",
                hstar=0,
                layers=[0],
                order=5,
                ndeg=6,
                res=resistance,
                **layers,
            )
        model.solve(silent=True)
        return [model.head(x, 0) for x in PLACES]


@pytest.mark.parametrize("resistance", [None, 100.0])
def test_building_pit(solve, check_site, within, resistance):
    """Six wells in the upper of two aquifers, with a leaky wall through it and without."""
    layers = [
        ("roof", 0.5, 500, None),
        ("upper", 10.0, None, 10.0),
        ("between", 3.0, 200, None),
        ("lower", 17.0, None, 30.0),
    ]
    wall = {"kind": "slurry", "line": "outline", "top": -20.0, "toe": -30.5, "thickness": 1.0}
    solved = solve(
        leaky(
            check_site,
            CORNERS,
            layers,
            4000.0,
            [{"points": WELLS, "screen": [-30.5, -20.5], "diameter": 0.3, "rate": 100 / DAY}],
            walls=[] if resistance is None else [{**wall, "k": 1 / (resistance * DAY)}],
            points={f"at {x:g}": (x, 0.0, -29.0) for x in PLACES},
        )
    )
    for x, (upper, lower) in zip(PLACES, analytic_elements(resistance), strict=True):
        within(f"upper aquifer at {x:g} m", solved.head("upper", x, 0.0) - HELD, upper, 3)
        within(f"lower aquifer at {x:g} m", solved.head("lower", x, 0.0) - HELD, lower, 3)
