"""The observational method's arithmetic: bands, trigger levels, what is told to do next."""

from __future__ import annotations

import numpy as np
import pytest

from wellring.inputs.measured.observations import Observation
from wellring.postprocess.water.measured import Reading, Trigger, advice, foretold


def observed(value=None, *, point="P1", error=0.02, weight=1.0, least=None, most=None):
    return Observation(2, "head", point, 1, None, value, error, weight, least, most)


def test_a_band_holds_nine_of_ten_readings():
    rng = np.random.default_rng(1)
    reading = Reading(observed(0.0), computed=1.0, spread=0.03)
    low, high = reading.band
    drawn = 1.0 + 0.03 * rng.standard_normal(40000) + 0.02 * rng.standard_normal(40000)
    assert np.mean((drawn > low) & (drawn < high)) == pytest.approx(0.9, abs=0.005)
    got = foretold(1.0 + 0.03 * rng.standard_normal(2000), observed(), rng)
    assert got == pytest.approx((low, 1.0, high), abs=5e-3)


def test_alert_levels_never_lie_beyond_what_must_not_be_passed():
    item = observed(least=-3.0, most=-1.0)
    wide = Trigger(item, (-9, -2, 9), (-4.0, -2.0, -1.5), 1.0)
    assert wide.alert == (-3.0, -1.5)
    assert wide.action == (-3.0, -1.0)
    assert not wide.fails
    assert Trigger(item, (-9, -2, 9), (-1.2, -0.9, -0.7), 1.0).fails


def test_a_reading_that_passes_its_limit_comes_first():
    passed = Reading(observed(-0.5, most=-1.0), -0.5, 0.01)
    assert passed.passed
    told = advice([passed], [], ("dig",), [], [])
    assert told[0].startswith("Act now: head at P1, dig passed")
    calm = advice([Reading(observed(1.0), 1.0, 0.01)], [], ("dig",), [], [])
    assert len(calm) == 1


def test_many_outside_put_the_model_in_doubt_one_is_read_again():
    good = [Reading(observed(1.0), 1.0, 0.01) for _ in range(7)]
    bad = [Reading(observed(2.0), 1.0, 0.01)]
    assert "Read again" in advice([*good, *bad], [], ("dig",), [], [])[0]
    assert "Do not rely on the fit" in advice([*good, *bad * 5], [], ("dig",), [], [])[0]
    apart = [Reading(observed(2.0, weight=0.0), 1.0, 0.01)]
    assert "fails its test" in advice([*good, *apart], [], ("dig",), [], [])[0]


def test_what_is_known_least_is_measured_next():
    items = [observed(point=name) for name in ("A", "B", "C")]
    band = (0.0, 1.0, 2.0)
    triggers = [Trigger(i, band, band, t) for i, t in zip(items, (0.5, 3.0, 9.0), strict=True)]
    told = advice([], triggers, ("dig",), ["soils.clay.kh"], [])
    assert "soils.clay.kh" in told[0]
    assert "head at C, dig; head at B, dig" in told[1]
    assert "head at A" not in told[1]


def test_an_error_in_percent_is_that_of_what_is_foretold():
    item = Observation(2, "flow", "", 1, None, None, 1e-6, share=0.05)
    low, middle, high = foretold(np.full(500, 0.02), item, np.random.default_rng(1))
    assert middle == pytest.approx(0.02, rel=0.02)
    assert high - low == pytest.approx(2 * 1.6449 * 0.001, rel=0.2)
