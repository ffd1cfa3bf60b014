"""C10: long slots between line sources. UFC 3-220-05 (2004), figures 4-1 to 4-5; Dupuit.

A strip 10 m wide between impervious edges, a fully penetrating slot in the middle and a line
source 50 m away on both sides; nothing is dug but in the last check. K 1e-4 m/s.
"""

K, WIDTH, LENGTH = 1e-4, 10.0, 50.0
CLAY = {"kh": 1e-13, "kv": 1e-13}
SAND = {"kh": K, "kv": K}


def slot(check_site, layers, soils, source, held, ground):
    lines = [(0.0, held), (LENGTH, source), (-LENGTH, source)]
    return check_site(
        ground=ground,
        layers=layers,
        soils=soils,
        level=source,
        edge="no flow",
        pit=check_site.box(10, 20, 0, WIDTH),
        source_distance=75.0,
        strip=(0.0, WIDTH),
        boundaries=[
            {"kind": "fixed_head", "line": [(x, -90), (x, 90)], "head": head} for x, head in lines
        ],
        points={"half way": (25.0, 5.0, 2.0)},
    )


def test_confined(solve, check_site, within):
    """q = K·D·ΔH/L with D 8, ΔH 4."""
    layers, soils = [("clay", 8.0), ("sand", 0.0)], {"clay": CLAY, "sand": SAND}
    solved = solve(slot(check_site, layers, soils, 14.0, 10.0, 16.0))
    within("q from one source", solved.flow(1) / WIDTH, 6.4e-5, 1)


def test_gravity(solve, check_site, within):
    """q = K·(H² − h0²)/(2L) with H 10, h0 4; twice that from two sources."""
    solved = solve(slot(check_site, [("sand", 0.0)], {"sand": SAND}, 10.0, 4.0, 12.0))
    within("h at 25 m", solved.head("sand", 25.0, 5.0), 7.61577, 1)
    within("h at 25 m, an answer", solved.answer("level.half way"), 7.61577, 1)
    within("q from one source", solved.flow(1) / WIDTH, 8.4e-5, 2)
    within("q into the slot from both", -solved.flow(0) / WIDTH, 1.68e-4, 2)


def test_combined(solve, check_site, within):
    """q = K·(2DH − D² − h0²)/(2L) with D 8, H 12, h0 4."""
    layers, soils = [("clay", 8.0), ("sand", 0.0)], {"clay": CLAY, "sand": SAND}
    solved = solve(slot(check_site, layers, soils, 12.0, 4.0, 14.0))
    within("q from one source", solved.flow(1) / WIDTH, 1.12e-4, 2)


def test_open_cut_to_the_impervious_base(solve, check_site, within):
    """A cut dug nearly to the base, drained over its floor and its seeping faces.

    q = K·(H² − h0²)/(2L), exact with a seepage face (Charny 1951), H 10 m at 50 m; the half metre
    left in the floor makes the cut's face a little (0.2 m) wider than drawn.
    """
    solved = solve(
        check_site(
            ground=12.0,
            layers=[("sand", 0.0)],
            soils={"sand": SAND},
            level=10.0,
            formation=0.5,
            pit=check_site.box(-5, 5, 0, WIDTH),
            source_distance=LENGTH,
            strip=(0.0, WIDTH),
        )
    )
    one_side = solved.answer("inflow_excavation") / WIDTH / 2
    within("q from one source", one_side, K * (10**2 - 0.5**2) / (2 * LENGTH), 3)
