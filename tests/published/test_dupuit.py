"""C02, C11, C12: wells in an unconfined and in a partly unconfined aquifer.

UFC 3-220-05 (2004), figures 4-11 and 4-12; Dupuit–Forchheimer, Muskat, Jacob (1944). Heads far
from the well and the discharge are exact in spite of the seepage face (Charny 1951). C02 and C11
scale with k, so they are run at a quarter of the published k, where Sichardt's limit of the screen
does not govern.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

HALF = 10.0


def test_unconfined_well(solve, check_site, within):
    """C02: Q = πK(H² − h_w²)/ln(R/r_w) for K 2e-4, H 20, h_w 12, R 400, r_w 0.3."""
    k, published_k = 5e-5, 2e-4
    solved = solve(
        check_site(
            ground=22.0,
            layers=[("sand", 0.0)],
            soils={"sand": {"kh": k, "kv": k}},
            level=20.0,
            pit=check_site.square(HALF),
            source_distance=check_site.source_from(HALF, 400.0),
            drainage=[{"points": [(0, 0)], "screen": [0, 20], "diameter": 0.6, "hold": 12.0}],
            points={"far": (50.0, 0.0, 1.0)},
        )
    )
    assert solved.wells[0].level[-1] == 12.0
    assert solved.wells[0].governing[-1] == "level"
    within("Q", solved.answer("wells_total") * published_k / k, 0.0223544, 3)
    within("h at 50 m", solved.ring_head("sand", 50.0), 18.056, 1)
    within("h at 50 m, an answer", solved.answer("level.far"), 18.056, 1)


def test_combined_well(solve, check_site, within):
    """C11: Q = πK(2DH − D² − h_w²)/ln(R/r_w) for K 1e-4, D 10, H 16, h_w 6, R 300, r_w 0.2.

    The unconfined part ends 2.5 m from the well. The default cells are 1 m at this pit and 2 m at
    the well, so that radius asks for finer ones.
    """
    k, published_k = 2.5e-5, 1e-4
    solved = solve(
        check_site(
            ground=20.0,
            layers=[("clay", 10.0), ("sand", 0.0)],
            soils={"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}},
            level=16.0,
            pit=check_site.square(HALF),
            source_distance=check_site.source_from(HALF, 300.0),
            drainage=[{"points": [(0, 0)], "screen": [0, 10], "diameter": 0.4, "hold": 6.0}],
            grid={"cell": 0.5},
        )
    )
    within("Q", solved.answer("wells_total") * published_k / k, 0.00790422, 3)
    sand = solved.potential(10.0)
    radius = np.exp(brentq(lambda x: solved.on_ring(sand, np.exp(x)) - 10**2 / 2, 0, 4))
    within("radius of the unconfined part", radius, 2.54541, 8)


@pytest.mark.parametrize(("open_fall", "full_fall"), [(4.0, 3.33333), (2.83485, 2.5)])
def test_open_against_full_aquifer(solve, check_site, within, open_fall, full_fall):
    """C12: the same ring and flow in 12 m of sand, open and under clay: s − s²/(2H) (Jacob 1944).

    C12's own 0.1 % is for the formula (`test_arithmetic.py`). The open model is held to C02's 1 %:
    MODFLOW 6 takes the wetted thickness of the upstream cell, so that the water falls a little less
    (from 4 m 0.9 % with cells up to 20 m, 0.7 % with 10 m as here, 0.5 % with 5 m).
    """
    k, high = 5e-5, 12.0
    angle = np.arange(8) * np.pi / 4
    ring = np.column_stack([20 * np.cos(angle), 20 * np.sin(angle)]).tolist()

    def fall(layers, flow):
        bottom = layers[-1][1]
        well = {"points": ring, "screen": [bottom, bottom + high], "diameter": 0.3, "rate": flow}
        soils = {"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}}
        solved = solve(
            check_site(
                ground=1.0,
                layers=layers,
                soils={name: soils[name] for name, _ in layers},
                level=0.0,
                pit=check_site.square(HALF),
                source_distance=check_site.source_from(HALF, 500.0),
                drainage=[well],
                points={"centre": (0.0, 0.0, bottom + 1.0)},
                grid={"sublayer": 20.0, "largest": 10.0},
            )
        )
        within("wells", solved.answer("wells_total"), 8 * flow, 0.1)
        return -solved.answer("level.centre")

    trial = 3e-4
    per_flow = fall([("clay", -20.0), ("sand", -20.0 - high)], trial) / trial  # it is linear
    flow = full_fall / per_flow
    within("full", per_flow, np.log(500 / 20) / (2 * np.pi * k * high) * 8, 2)
    within("open", fall([("sand", -high)], flow), open_fall, 1)
