"""C15: a leaky wall across one-dimensional flow: resistances in series.

Interlocks after EN 12063 (q = ρ·Δp/γw, definition read), q = ΔH/(L/K + R_w) with R_w = B/ρ or t/k.
"""

import numpy as np
import pytest

K, WIDTH = 1e-4, 10.0


@pytest.mark.parametrize(
    ("wall", "published", "loss"),
    [
        ({"kind": "sheet pile", "joint_resistance": 1e-7, "pile_width": 0.6}, 8.57143e-6, 5.14286),
        ({"kind": "slurry", "k": 1e-8, "thickness": 0.8}, 7.40741e-7, 5.92593),
    ],
)
def test_wall_across_a_strip(solve, check_site, within, wall, published, loss):
    """100 m of confined aquifer 10 m thick between heads that differ by 6 m."""
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", -10.0), ("sand", -20.0)],
            soils={"clay": {"kh": 1e-13, "kv": 1e-13}, "sand": {"kh": K, "kv": K}},
            level=-1.0,
            edge="no flow",
            pit=check_site.box(-5, 5, 0, WIDTH),
            source_distance=80.0,
            strip=(0.0, WIDTH),
            boundaries=[
                {"kind": "fixed_head", "line": [(-50, -90), (-50, 90)], "head": -1.0},
                {"kind": "fixed_head", "line": [(50, -90), (50, 90)], "head": -7.0},
            ],
            walls=[{"line": [(0, -30), (0, 30)], "toe": -20.0, **wall}],
        )
    )
    within("q in", solved.flow(0) / WIDTH, published, 1)
    within("q out", -solved.flow(1) / WIDTH, published, 1)
    x = np.array([2.0, 40.0])
    ends = [
        np.polyval(np.polyfit(side, [solved.head("sand", at, 5.0) for at in side], 1), 0.0)
        for side in (-x, x)
    ]
    within("head lost at the wall", ends[0] - ends[1], loss, 1)


def test_joints_around_a_dry_pit(solve, check_site, within):
    """Q = ρ·H·(0.5·H + h) a joint: pressure grows to the floor and stays below it (EN 12063).

    300 joints 0.6 m apart around 180 m, ρ 3e-10 m/s, dry to H 5 m, toe h 2 m deeper in an
    impervious bed: 7.29e-3 m³/h. Gravel on both sides leaves all loss to the joints.
    """
    gravel = {"kh": 1e-2, "kv": 1e-2}
    solved = solve(
        check_site(
            ground=0.2,
            layers=[("gravel", -7.0), ("clay", -8.0)],
            soils={"gravel": gravel, "clay": {"kh": 1e-14, "kv": 1e-14}},
            level=0.0,
            formation=-5.0,
            pit=check_site.box(-30, 30, -15, 15),
            source_distance=60.0,
            walls=[
                {
                    "kind": "sheet pile",
                    "toe": -7.0,
                    "joint_resistance": 3e-10,
                    "pile_width": 0.6,
                }
            ],
            grid={"cell": 3.0, "sublayer": 0.5},
        )
    )
    inflow = solved.answer("inflow_excavation")
    within("inflow of the pit", inflow * 3600, 7.29e-3, 1)
