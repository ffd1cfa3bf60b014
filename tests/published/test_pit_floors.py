"""C19 and C33: water through the floor of a pit, tight or open."""

import numpy as np

DAY = 86400.0


def test_base_plug(solve, check_site, within):
    """Darcy through a plug of 2000 m², 2 m thick, k 1e-8 m/s, 8 m of head: 6.912 m³/d."""
    solved = solve(
        check_site(
            ground=3.0,
            layers=[("gravel", -6.0), ("plug", -8.0), ("deep", -20.0)],
            soils={
                name: {"kh": k, "kv": k}
                for name, k in (("gravel", 1e-3), ("plug", 1e-8), ("deep", 1e-3))
            },
            level=2.0,
            formation=-6.0,
            pit=check_site.box(0, 50, 0, 40),
            source_distance=100.0,
            walls=[
                {"kind": "slurry", "line": "outline", "toe": -8.0, "k": 1e-14, "thickness": 1.0}
            ],
        )
    )
    within("leakage", solved.answer("inflow_floor") * DAY, 6.912, 0.5)


def test_disc_on_capped_half_space(solve, check_site, within):
    """Q = 4·K·r·s for a floor of radius r on deep ground under an impervious cap.

    Exact disc solution; Hvorslev (1951), F = 2D. The source at X = 30 r and a floor as deep raise
    the flow by 2r/(πX).
    """
    k, r, far = 1e-4, 5.0, 150.0
    angle = np.arange(48) * 2 * np.pi / 48
    solved = solve(
        check_site(
            ground=5.0,
            layers=[("clay", 0.0), ("sand", -far)],
            soils={"clay": {"kh": 1e-13, "kv": 1e-13}, "sand": {"kh": k, "kv": k}},
            level=4.0,
            formation=0.0,
            pit=np.column_stack([r * np.cos(angle), r * np.sin(angle)]).tolist(),
            source_distance=far - r,
        )
    )
    within("inflow", solved.answer("inflow_floor"), 4 * k * r * 4 * (1 + 2 * r / (np.pi * far)), 5)
