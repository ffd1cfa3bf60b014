"""Pipes, pumps, tanks, headers and crews against handbook values and hand calculations."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from wellring.inputs.site.operations import Operations, SettlingTank
from wellring.postprocess.operation.costs import Quantities, cost_items, summed
from wellring.postprocess.operation.crew import Manning, people_per_post, posts
from wellring.postprocess.operation.pump_power import pump_power, weekly_energy
from wellring.postprocess.operation.settling_tank import settle, settling_velocity, stokes_velocity
from wellring.postprocess.water.discharge import Discharge
from wellring.postprocess.water.header_network import lay_header
from wellring.postprocess.water.pipe_losses import (
    PipeLaw,
    darcy_weisbach,
    friction_factor,
    hazen_williams,
    sized,
    velocity,
    water_density,
    water_viscosity,
)


def test_hazen_williams_by_hand() -> None:
    # C25: 40 L/s in 200 mm, C 120, 100 m: 0.983557 m (SI form by hand); 30 L/s in 150 mm: 2.344 m.
    assert 100 * hazen_williams(0.04, 0.2, 120) == pytest.approx(0.983557, rel=1e-4)
    assert 100 * hazen_williams(0.03, 0.15, 120) == pytest.approx(2.344, rel=1e-3)


def test_darcy_weisbach_by_hand() -> None:
    # C25: 40 L/s in 200 mm of roughness 0.046 mm at 10 °C: Re 194 834, f 0.01735, 0.71678 m in
    # 100 m (Colebrook's equation solved elsewhere by bisection).
    assert 100 * darcy_weisbach(0.04, 0.2, 0.046e-3, 10.0) == pytest.approx(0.71678, rel=2e-3)


@pytest.mark.parametrize("reynolds", [4e3, 1e5, 1e7])
@pytest.mark.parametrize("roughness", [0.0, 1e-4, 5e-2])
def test_colebrook_is_solved(reynolds: float, roughness: float) -> None:
    def off(f: float) -> float:
        inner = roughness / 3.7 + 2.51 / (reynolds * math.sqrt(f))
        return 1 / math.sqrt(f) + 2 * math.log10(inner)

    root = brentq(off, 1e-3, 1.0, xtol=1e-14)
    assert friction_factor(reynolds, roughness) == pytest.approx(root, rel=1e-8)


def test_laminar_flow_is_poiseuilles() -> None:
    q, d = 1e-6, 0.02
    mu, rho = float(water_viscosity(10.0)), float(water_density(10.0))
    exact = 128 * mu * q / (math.pi * rho * 9.81 * d**4)
    assert darcy_weisbach(q, d, 1e-4, 10.0) == pytest.approx(exact, rel=1e-9)


def test_water_by_tables() -> None:
    """IAPWS (values from memory): 1.306, 1.002, 0.653 mPa s and 999.70, 998.21 kg/m³."""
    assert water_viscosity([10.0, 20.0, 40.0]) == pytest.approx(
        np.array([1.306e-3, 1.002e-3, 0.653e-3]), rel=1e-2
    )
    assert water_density([10.0, 20.0]) == pytest.approx(np.array([999.70, 998.21]), rel=1e-5)


def test_pump_power_by_hand() -> None:
    # C24: 50 L/s against 25 m at 0.65: 18.8654 kW, 452.769 kWh a day, with water of 1000 kg/m³
    # and 9.81 (ρgQH/η, by hand).
    power = pump_power(0.05, 25.0, 0.65, temperature=4.0)
    assert power == pytest.approx(18.8654e3, rel=1e-4)
    assert weekly_energy(power) / 7 == pytest.approx(452.769, rel=1e-4)
    # C24: 1800 US gpm against 150 ft, as a sample dewatering specification asks of a pressure pump
    # (zhclg.com, dewatering-and-groundwater-control, materials-6, read): 68.1818 hp of water power,
    # gpm · ft/3960 (of 550 ft lbf/s); that specification's 110 hp leave an efficiency of 0.62.
    gpm, foot, horse = 3.785411784e-3 / 60, 0.3048, 745.699872
    assert pump_power(1800 * gpm, 150 * foot, 1.0, 15.6) / horse == pytest.approx(68.1818, rel=2e-3)


def test_stokes_by_hand() -> None:
    # Quartz of 0.06 mm in water of 20 °C: 1650 · 9.81 · (6e-5)²/(18 · 1.002e-3) = 3.23 mm/s.
    assert stokes_velocity(0.06e-3, 20.0) == pytest.approx(3.23e-3, rel=1e-2)
    assert stokes_velocity(0.06e-3, 5.0) < 0.7 * stokes_velocity(0.06e-3, 20.0)
    # Fine sand: Re 0.19, slowed by 1 + 0.15 · 0.19^0.687 = 1.05; by itself Re 0.19 < 0.5.
    assert settling_velocity(0.06e-3, 20.0) == pytest.approx(3.09e-3, rel=2e-2)
    # A ball of 1 mm quartz falls at some 0.16 m/s (Schiller and Naumann, by hand), not Stokes' 0.9.
    assert stokes_velocity(1e-3, 20.0) > 0.85
    assert settling_velocity(1e-3, 20.0) == pytest.approx(0.157, rel=5e-2)


def test_tank_keeps_what_sinks_faster_than_its_surface_load() -> None:
    tank = SettlingTank(length=10.0, width=2.0, depth=1.5, particle=0.06e-3)
    speed = settling_velocity(0.06e-3, 10.0)
    just = settle(tank, 0.999 * 20.0 * speed, 10.0)
    over = settle(tank, 1.001 * 20.0 * speed, 10.0)
    assert (just.keeps, over.keeps) == (True, False)
    assert over.area_needed == pytest.approx(20.02)
    assert just.forward == pytest.approx(0.999 * 20 * speed / 3.0)
    assert just.minutes == pytest.approx(30.0 / (0.999 * 20 * speed) / 60)
    assert stokes_velocity(just.smallest, 10.0) == pytest.approx(just.load)


def test_header_by_hand() -> None:
    """Five points 3 m apart with 1 L/s each; the pump at the third: 2 L/s come from either side."""
    law = PipeLaw("hazen-williams", c=120.0, fastest=1.0, fittings=0.0)
    xy = np.array([(3.0 * i, 0.0) for i in range(5)])
    flow = np.full(5, 1e-3)
    header = lay_header(list("abcde"), xy, flow, law)
    assert header.station == 2
    assert header.diameter == 0.065  # 2 L/s: 1.02 m/s in DN 50, 0.60 m/s in DN 65
    one, two = (float(3.0 * hazen_williams(q, 0.065, 120.0)) for q in (1e-3, 2e-3))
    assert header.loss == pytest.approx(np.array([one + two, two, 0, two, one + two]))
    assert header.carried == pytest.approx(np.array([1, 2, 5, 2, 1]) * 1e-3)
    end = lay_header(list("abcde"), xy, flow, law, station=0, diameter=0.1)
    pipes = [float(3.0 * hazen_williams(q * 1e-3, 0.1, 120.0)) for q in (4, 3, 2, 1)]
    assert end.loss == pytest.approx(np.concatenate([[0], np.cumsum(pipes)]))
    assert end.length == 12.0


def test_one_point_needs_no_header() -> None:
    header = lay_header(["a"], np.zeros((1, 2)), np.array([2e-3]), PipeLaw())
    assert (header.length, header.worst, header.carried[0]) == (0.0, 0.0, 2e-3)


def test_pipes_are_as_small_as_the_velocity_allows() -> None:
    inner = sized(0.02, 1.5)
    assert inner == 0.15
    assert velocity(0.02, inner) <= 1.5 < velocity(0.02, 0.125)


def test_manning_of_a_week() -> None:
    # C35: 14 pumps: 3 operators at 6 each, 4 at 4 each (common practice, no source).
    assert (posts(14, 6), posts(14, 4), posts(12, 6), posts(13, 6), posts(0, 5)) == (3, 4, 2, 3, 0)
    assert (people_per_post(8), people_per_post(12), people_per_post(24)) == (3, 2, 1)
    crew = Manning(8, 40, 3, 8, night_rate=1.25, overtime_rate=1.5)
    assert crew.overtime == 48  # 168 − 3 · 40
    assert crew.paid_hours == 168 + 56 * 0.25 + 48 * 0.5
    # C35: a post takes 168/40 = 4.2 people (arithmetic): five leave no overtime, four leave 8 h.
    assert Manning(8, 40, 5, 8, 1, 2).overtime == 0
    assert Manning(8, 40, 4, 8, 1, 2).overtime == 8
    # C35: with 12 % absence 4.77273. Who is away 12 % of 40 h is there for 35.2 h of the week.
    for week, people in ((40.0, 4.2), (35.2, 4.77273)):
        four = Manning(8, week, 4, 8, 1, 2)
        assert four.people + four.overtime / week == pytest.approx(people, rel=1e-6)


def test_costs_by_hand() -> None:
    prices = Operations(wage=30, power_price=0.25, pump_hire=50, drilling=100, discharge_fee=0.1)
    taken = Quantities(206.0, 1000.0, 4, 1, 6.0, 80.0, False, 60.0, 4, True)
    water = Discharge(0.01, 14.0, None, 0.01 * 14 * 86400, False)
    items = cost_items(prices, taken, water)
    cost = summed(items)
    assert cost.week == pytest.approx(206 * 30 + 250 + 5 * 50 + 6048 * 0.1)
    assert cost.once == 6000
    assert cost.total == pytest.approx(2 * cost.week + 6000)
    unpriced = {item.key for item in items if item.price is None}
    assert unpriced == {"standby_hire", "header_hire", "treatment", "installation", "mobilisation"}
    undated = summed(cost_items(prices, taken, Discharge(0.01, None, None, None, False)))
    assert (undated.week, undated.total) == (pytest.approx(cost.week), None)


def test_a_pipe_just_at_the_velocity_is_taken_and_beyond_the_largest_it_is_cut_to_measure() -> None:
    """2 m³/s at 1.5 m/s need √(4·2/(π·1.5)) = 1.303 m."""
    assert sized(0.015, float(velocity(0.015, 0.1))) == 0.1
    assert sized(2.0, 1.5) == pytest.approx(1.3029, abs=1e-4)


def test_loss_over_a_length_with_fittings_from_either_law() -> None:
    """By hand: 100 mm, 7.854 L/s are 1 m/s; Re = 1/1.3065e-6·0.1 = 76,500; f = 0.02279 at ε/D 1e-3.

    So 0.02279/0.1/(2·9.81) = 0.01162 a metre; with a fifth for fittings over 50 m 0.697 m.
    """
    flow = np.pi / 4 * 0.1**2
    assert float(PipeLaw().loss(flow, 0.1, 50.0)) == pytest.approx(0.697, rel=2e-3)
    plain = PipeLaw(law="hazen-williams", c=130.0, fittings=0.0)
    expected = 50.0 * float(hazen_williams(flow, 0.1, 130.0))
    assert float(plain.loss(flow, 0.1, 50.0)) == pytest.approx(expected)
    more = PipeLaw(law="hazen-williams", c=130.0, fittings=0.5)
    assert float(more.loss(flow, 0.1, 50.0)) == pytest.approx(1.5 * expected)


def test_pipes_of_a_site_that_says_nothing_are_those_of_the_documented_defaults() -> None:
    law = PipeLaw()
    told = (law.law, law.roughness, law.c, law.temperature, law.fastest, law.fittings)
    assert told == ("darcy-weisbach", 1e-4, 120.0, 10.0, 1.5, 0.2)
    assert law.diameter(float(1.5 * np.pi / 4 * 0.15**2) * 0.999) == pytest.approx(0.15)
