"""C26, C30, Dupuit: suction against altitude, an ejector's jet, a recharge trench, end to end."""

import numpy as np
import pytest

SAND = {"kh": 1e-4, "kv": 1e-4}


@pytest.mark.parametrize(
    ("altitude", "temperature", "air"),
    [(0.0, 10.0, 10.2103), (1000.0, 20.0, 8.94281), (2000.0, 20.0, 7.8825), (3000.0, 20.0, 6.9236)],
)
def test_suction_against_altitude(solve, check_site, within, altitude, temperature, air):
    """C26: standard atmosphere (ISO 2533) less vapour pressure (Magnus), less the losses given."""
    losses, header = 4.0, 0.0
    solved = solve(
        check_site(
            ground=1.0,
            layers=[("sand", -20.0)],
            soils={"sand": {"kh": 1e-5, "kv": 1e-5}},
            level=-0.5,
            formation=-2.0,
            pit=check_site.square(6.0),
            source_distance=150.0,
            drainage=[
                {
                    "method": "wellpoints",
                    "ring": {"offset": 1.5, "spacing": 2.0},
                    "header": header,
                    "altitude": altitude,
                    "temperature": temperature,
                    "losses": losses,
                    "screen": [-14.0, -8.0],
                }
            ],
            grid={"cell": 2.0, "sublayer": 2.0},
            # So wide that friction takes nothing off: here the air's head alone is checked.
            operations={"header_diameter": "500 mm"},
        )
    )
    assert {well.governing[-1] for well in solved.wells} == {"level"}
    held = {round(well.level[-1], 6) for well in solved.wells}
    assert len(held) == 1
    within("air's head: lift held and losses", header - held.pop() + losses, air, 0.5)


def test_ejectors_of_a_known_jet(solve, check_site, within):
    """C30: N 0.37931, supply 0.632184 L/s for a yield of 0.5 L/s at η 0.30 (Gosline and O'Brien
    1934, definitions from memory).

    Heads over the nozzle: supply 80 m, of which 22 m from the outlet down and 58 m from the pump;
    delivery 22 m. What goes in as pressure comes out as lift, but for the jet's own loss.
    """
    nozzle, outlet, supply, efficiency = -20.0, 2.0, 0.632184e-3, 0.30
    pressure = 58.0 * 9810.0
    solved = solve(
        check_site(
            ground=1.0,
            layers=[("sand", -25.0)],
            soils={"sand": SAND},
            level=-0.5,
            formation=-2.0,
            pit=check_site.square(6.0),
            source_distance=150.0,
            drainage=[
                {
                    "method": "ejectors",
                    "ring": {"offset": 1.5, "spacing": 7.5},
                    "screen": [-24.0, -2.0],
                    "nozzle": nozzle,
                    "outlet": outlet,
                    "supply_pressure": f"{pressure} Pa",
                    "nozzle_flow": supply,
                    "efficiency": efficiency,
                }
            ],
            grid={"cell": 2.0, "sublayer": 2.0},
        )
    )
    assert {well.governing[-1] for well in solved.wells} == {"pump"}
    for well in solved.wells:
        within(f"yield of {well.name}", well.flow[-1], 0.5e-3, 0.1)
        assert well.level[-1] > nozzle
    drawn = solved.wells[0].flow[-1]
    given = 9810.0 * supply * 80.0
    lifted = 9810.0 * (supply + drawn) * 22.0
    lost = (1 - efficiency) * 9810.0 * supply * (80.0 - 22.0)
    within("power: supply = return + loss", lifted + lost, given, 0.1)


@pytest.mark.parametrize("asked", ["rate", "level"])
def test_recharge_trench_in_a_strip(solve, check_site, within, asked):
    """A trench to the base between two line sources: q = K·(h² − H²)/(2L) to each side (Dupuit).

    K 1e-4 m/s, H 6 m at 50 m on both sides; h 8 m in the trench, or the flow that makes it.
    Its walls cost q·w/(4·K·h) on either side, half the trench's width of soil: 3 mm.
    """
    length, far, near, width = 50.0, 6.0, 8.0, 10.0
    flow = 2 * width * SAND["kh"] * (near**2 - far**2) / (2 * length)
    solved = solve(
        check_site(
            ground=12.0,
            layers=[("sand", 0.0)],
            soils={"sand": SAND},
            level=far,
            edge="no flow",
            pit=check_site.box(20, 30, 2, 8),
            source_distance=75.0,
            strip=(0.0, width),
            boundaries=[
                {"kind": "fixed_head", "line": [(x, -90), (x, 90)], "head": far}
                for x in (-length, length)
            ],
            drainage=[
                {
                    "method": "recharge trench",
                    "line": {"along": [(0.0, 0.25), (0.0, 9.75)], "spacing": 0.5},
                    "bottom": 0.0,
                    "width": 0.5,
                    **(
                        {"head_limit": 11.0, "rate": flow}
                        if asked == "rate"
                        else {"head_limit": near, "rate": 10 * flow}
                    ),
                }
            ],
            grid={"cell": 1.0, "sublayer": 1.0},
        )
    )
    half_way = np.sqrt(0.5 * (near**2 + far**2))
    within("given to the ground", -sum(well.flow[-1] for well in solved.wells), flow, 1)
    within("level half way", solved.head("sand", -25.0, 5.0), half_way, 0.5)
    levels = [well.level[-1] for well in solved.wells]
    within("level in the trench", float(np.mean(levels)), near, 0.5)
