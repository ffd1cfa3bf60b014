"""Exit gradient and heave beside one sheet pile in ground without a bottom: exact.

Confocal map (Harr 1962, chapter 5; derived again here): with y down and x away from the pile of
depth d, y + ix = d·cosh(u + iv) and the head is h·(1/2 − v/π). So the exit gradient at the pile is
h/(π·d), and the mean excess head under Terzaghi's prism, d deep and d/2 wide, follows from v along
its base. The layer here is ten times as deep as the pile, which by the exact map of finite depth
(CHECKS C13) changes the gradient by 0.2 %.
"""

import numpy as np

K, HEAD, PILE, WIDTH = 1e-4, 3.0, 4.0, 2.0
WEIGHT, WATER = 20.0, 9.81
TIGHT = {"kind": "slurry", "k": 1e-14, "thickness": 1.0}
FLOOD = {"kind": "river", "stage": HEAD, "bed_conductance": 1000.0}


def mean_head_under_prism() -> float:
    """Mean head at the depth of the toe from the pile to half its depth away, in parts of h."""
    x = (np.arange(4000) + 0.5) / 8000
    return float((0.5 - np.arccosh(1 + 1j * x).imag / np.pi).mean())


def test_pile_in_deep_ground(solve, check_site, within):
    layer = 10 * PILE
    far = 5 * layer
    solved = solve(
        check_site(
            ground=0.0,
            layers=[("sand", -layer)],
            soils={"sand": {"kh": K, "kv": K}},
            level=0.0,
            edge="no flow",
            pit=check_site.box(0, far, 0, WIDTH),
            source_distance=far,
            strip=(0.0, WIDTH),
            boundaries=[
                {"kind": "no_flow", "line": [(far, -9000), (far, 9000)]},
                {**FLOOD, "polygon": check_site.box(-4 * far, 0, -50, 50)},
            ],
            walls=[{**TIGHT, "line": [(0, -20), (0, WIDTH + 20)], "toe": -PILE}],
        )
    )
    within("exit gradient", solved.answer("exit_gradient"), HEAD / (np.pi * PILE), 4)
    # HYD of EN 1997-1 by hand: 1.35·γw·h_m against 0.90·(γ − γw)·d.
    seepage = WATER * HEAD * mean_head_under_prism()
    used = 1.35 * seepage / (0.9 * (WEIGHT - WATER) * PILE)
    within("HYD of the prism", solved.answer("heave_prism"), used, 4)
    # In total stresses (2.9a): 1.35·γw·(d + h_m) against 0.90·γ·d.
    used = 1.35 * (WATER * PILE + seepage) / (0.9 * WEIGHT * PILE)
    within("HYD in total stresses", solved.answer("heave_total_stress"), used, 2)
