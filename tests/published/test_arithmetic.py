"""C08, C12, C27 and C28: hand formulas that a run quotes."""

import numpy as np
import pytest
from scipy.optimize import brentq

from wellring.inputs.site.soil_tables import hazen_conductivity, kozeny_carman_conductivity
from wellring.model.drainage.points import GridPoint
from wellring.postprocess.water.closed_form import girinskii


def test_hazen():
    """C28: Hazen (1892, 1911): k [cm/s] = 100·d10² [cm]."""
    assert hazen_conductivity(0.2e-3) == pytest.approx(0.0004, rel=1e-3)


def test_kozeny_carman():
    """C28: Kozeny–Carman after Bear (1972), water of 10 °C."""
    assert kozeny_carman_conductivity(0.2e-3, 0.35) == pytest.approx(0.000169262, rel=5e-3)
    assert kozeny_carman_conductivity(0.2e-3, 0.35, 1.004e-6) == pytest.approx(2.203e-4, rel=5e-3)


def screen(radius, low, high, k):
    one = np.array([0], np.intp)
    return GridPoint(
        "W",
        0,
        0,
        "deep wells",
        radius,
        (low, high),
        one,
        np.ones(1),
        low,
        None,
        None,
        np.array([k]),
        np.array([low]),
        np.array([high]),
    )


def test_screen_capacity():
    """C27: Sichardt (1928), from memory: r 0.15 m, wetted 6 m, k 1e-4 m/s; and 8 m in 2e-4."""
    well = screen(0.15, -20.0, -10.0, 1e-4)
    assert well.screen_capacity(-14.0) == pytest.approx(3.76991e-3, rel=1e-3)
    assert np.ceil(0.03 / well.screen_capacity(-14.0)) == 8
    assert screen(0.15, 0.0, 9.0, 2e-4).screen_capacity(8.0) == pytest.approx(7.109e-3, rel=1e-3)


def test_hazen_estimate_reaches_the_model(solve, check_site):
    solved = solve(
        check_site(
            ground=2.0,
            layers=[("sand", -10.0)],
            soils={"sand": {"d10": "0.2 mm"}},
            level=1.0,
            formation=0.0,
            pit=check_site.square(10.0),
            source_distance=100.0,
        )
    )
    assert solved.folder.ledger.soils["sand"].kh == pytest.approx(4e-4, rel=1e-6)


@pytest.mark.parametrize(("high", "low"), [(20.0, 12.0), (15.0, 9.0)])
def test_girinskii_is_dupuit_in_one_layer(high, low):
    """Girinskii (1946): Φ(H) − Φ(h) = K(H² − h²)/2."""
    layer = (np.array([25.0]), np.array([0.0]), np.array([2e-4]))
    rise = girinskii(high, *layer, 0.0) - girinskii(low, *layer, 0.0)
    assert rise == pytest.approx(2e-4 * (high**2 - low**2) / 2, rel=1e-12)


@pytest.mark.parametrize(("open_fall", "full_fall"), [(4.0, 3.33333), (2.83485, 2.5)])
def test_girinskii_is_jacobs_correction(within, open_fall, full_fall):
    """C12: in 12 m of open sand s − s²/(2H), as if the sand stayed full (Jacob 1944).

    The published pairs, one read from left to right and one from right to left. The model itself
    is asked the same in `test_dupuit.py`.
    """
    k, high = 2e-4, 12.0
    layer = (np.array([20.0]), np.array([0.0]), np.array([k]))

    def full(fall):
        rise = girinskii(high, *layer, 0.0) - girinskii(high - fall, *layer, 0.0)
        return rise / (k * high)

    within("as if full", full(open_fall), full_fall, 0.1)
    found = brentq(lambda fall: full(fall) - full_fall, 0.0, high)
    within("with the open surface", found, open_fall, 0.1)


def test_girinskii_is_thiem_in_a_full_layer():
    """Φ(H) − Φ(h) = T·(H − h) where the water stays above the aquifer."""
    layers = (np.array([30.0, 10.0]), np.array([10.0, 0.0]), np.array([1e-30, 1e-4]))
    rise = girinskii(24.0, *layers, 0.0) - girinskii(16.0, *layers, 0.0)
    assert rise == pytest.approx(1e-4 * 10 * 8, rel=1e-12)


def test_girinskii_of_the_combined_well():
    """UFC 3-220-05 (2004), figure 4-12: Q = πK(2DH − D² − h²)/ln(R/r)."""
    layers = (np.array([30.0, 10.0]), np.array([10.0, 0.0]), np.array([1e-30, 1e-4]))
    rise = girinskii(16.0, *layers, 0.0) - girinskii(6.0, *layers, 0.0)
    assert 2 * np.pi * rise / np.log(300 / 0.2) == pytest.approx(0.00790422, rel=1e-5)


def test_equivalent_well_of_a_rectangular_ring(solve, check_site, within):
    """C08: r_e = √(ab/π) and Q = πK(H² − h²)/ln(R/r_e) as a run quotes it for a 60 × 40 m pit."""
    re = np.sqrt(60 * 40 / np.pi)
    within("equivalent radius", re, 27.6395, 0.5)
    solved = solve(
        check_site(
            ground=16.0,
            layers=[("sand", 0.0)],
            soils={"sand": {"kh": 3e-4, "kv": 3e-4}},
            level=15.0,
            formation=9.0,
            pit=check_site.box(-30, 30, -20, 20),
            source_distance=350.0 - re,
        )
    )
    within("closed form", solved.answer("closed_form"), 0.0534595, 1)
