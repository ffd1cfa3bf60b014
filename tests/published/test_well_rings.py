"""C07 (a) and C08: rings of wells. UFC 3-220-05 (2004), figure 4-15 and paragraph 4-2.

Of figure 4-15 the title was read, not the formulas; those here are Forchheimer's superposition.
C07 (b), the ring in time, is in `test_pumping_in_time.py`.
"""

import numpy as np
import pytest

HALF = 10.0


def test_circular_ring_confined(solve, check_site, within):
    """C07 (a): 8 wells of 0.3 m on radius A 20 m, 40 L/s in all, T 2e-3 m²/s, R 500 m.

    Centre s = Q/(2πT)·ln(R/A); well s = (Q/n)/(2πT)·ln(Rⁿ/(n·r_w·Aⁿ⁻¹)) (Forchheimer).
    """
    transmissivity, thickness = 2e-3, 10.0
    k = transmissivity / thickness
    angle = np.arange(8) * np.pi / 4
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", -20.0), ("sand", -30.0)],
            soils={"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}},
            level=-1.0,
            pit=check_site.square(HALF),
            source_distance=check_site.source_from(HALF, 500.0),
            drainage=[
                {
                    "points": np.column_stack([20 * np.cos(angle), 20 * np.sin(angle)]).tolist(),
                    "screen": [-30, -20],
                    "diameter": 0.3,
                    "rate": 0.005,
                }
            ],
            points={"centre": (0.0, 0.0, -25.0)},
        )
    )
    within("all wells", solved.answer("wells_total"), 0.04, 0.1)
    within("s at the centre", -1 - solved.answer("level.centre"), 10.246, 2)
    for well in solved.wells:
        within(f"s in {well.name}", -1 - well.level[-1], 11.3654, 3)


def test_rectangular_ring_unconfined(solve, check_site, within):
    """C08: 12 wells around 60 × 40 m, K 3e-4, H 15 m, R 350 m; its Q leaves 9 m at the centre.

    H² − h² = Σ Qᵢ/(πK)·ln(R/rᵢ).
    """
    k, total = 3e-4, 0.0537748
    wells = [
        (-30, -20),
        (0, -20),
        (30, -20),
        (30, 0),
        (30, 20),
        (0, 20),
        (-30, 20),
        (-30, 0),
        (-15, -20),
        (15, -20),
        (15, 20),
        (-15, 20),
    ]
    solved = solve(
        check_site(
            ground=16.0,
            layers=[("sand", 0.0)],
            soils={"sand": {"kh": k, "kv": k}},
            level=15.0,
            pit=check_site.square(HALF),
            source_distance=check_site.source_from(HALF, 350.0),
            drainage=[{"points": wells, "screen": [0, 15], "diameter": 0.3, "rate": total / 12}],
            points={
                "centre": (0.0, 0.0, 1.0),
                "between": (22.5, 20.0, 1.0),
                "off site": (130.0, 0.0, 1.0),
            },
        )
    )
    within("all wells", solved.answer("wells_total"), total, 0.1)
    within("h at the centre", solved.answer("level.centre"), 9.0, 2)
    at_centre = 15**2 - solved.answer("level.centre") ** 2
    within("Q for 9 m at the centre", total * (15**2 - 9**2) / at_centre, total, 4)
    within("h between two wells", solved.head("sand", 22.5, 20.0), 9.32218, 2)
    within("h off site", solved.answer("level.off site"), 12.9686, 1)
    for (x, y), well in zip(wells, solved.wells, strict=True):
        apart = [max(np.hypot(x - a, y - b), 0.15) for a, b in wells]
        fall = total / 12 / (np.pi * k) * np.sum(np.log(350.0 / np.array(apart)))
        within(f"level in {well.name}", well.level[-1], np.sqrt(15**2 - fall), 3)


@pytest.mark.parametrize("cell", [None, 4.0, 7.0])
def test_dense_ring_of_points_that_share_cells(solve, check_site, within, cell):
    """48 points of 0.1 m, 2.6 m apart on the ring of C07, some of them in one cell.

    Level in each held 8 m below rest; Q = 48·2πT·s/ln(R⁴⁸/(48·r_w·A⁴⁷)) (Forchheimer). The centre
    stands Q/48/(2πT)·ln(A/(48·r_w)) above the points: what cells and conductances make of them.
    """
    count, transmissivity, thickness, ring, far = 48, 2e-3, 10.0, 20.0, 500.0
    k = transmissivity / thickness
    angle = (np.arange(count) + 0.3) * 2 * np.pi / count
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("clay", -20.0), ("sand", -30.0)],
            soils={"clay": {"kh": 1e-11, "kv": 1e-11}, "sand": {"kh": k, "kv": k}},
            level=-1.0,
            pit=check_site.square(HALF),
            source_distance=check_site.source_from(HALF, far),
            drainage=[
                {
                    "points": np.column_stack(
                        [ring * np.cos(angle), ring * np.sin(angle)]
                    ).tolist(),
                    "screen": [-30, -20],
                    "diameter": 0.1,
                    "hold": -9.0,
                }
            ],
            points={"centre": (0.0, 0.0, -25.0)},
            grid=None if cell is None else {"cell": cell},
        )
    )
    log = count * np.log(far) - np.log(count * 0.05) - (count - 1) * np.log(ring)
    exact = count * 2 * np.pi * transmissivity * 8.0 / log
    within("all points", solved.answer("wells_total"), exact, 2)
    above = exact / count / (2 * np.pi * transmissivity) * np.log(ring / (count * 0.05))
    within("centre above points", solved.answer("level.centre") + 9.0, above, 15)
