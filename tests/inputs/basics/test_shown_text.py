"""Sentences in the units shown; factors by hand from the foot and gallon of NIST SP 811."""

import pytest

from wellring.inputs.basics.shown_text import shown_text

US = {
    # Two significant digits at least, else as many as told.
    "0.52 m above ground at 12 places": "1.7 ft above ground at 12 places",
    "source at 2044 m": "source at 6706 ft",
    "within 1,200 m of it": "within 3,937 ft of it",
    "water from 12.56 to 10.2 m": "water from 41.21 to 33.5 ft",
    "a pit of 30 × 20 m": "a pit of 98 × 66 ft",
    "40 m3/h or 0.02 m³/s": "180 gpm or 320 gpm",
    "k of 1e-5 m/s": "k of 2.8 ft/day",
    "settles 600 mm": "settles 23.6 in",
    "a floor of 250 m²": "a floor of 2690 ft²",
    "−3.20 m, +0.5 m, ±0.1 m": "-10.5 ft, +1.6 ft, ±0.33 ft",
    "the wells' 3 m": "the wells' 9.8 ft",
}
SAME = (
    "the wall 'toe at 9 m' leaks",
    'scheme "5 m apart"',
    "9.81 kN/m3 and 18 kPa",
    "0.3 m/day; 2e-4 m²/s",
    "5 m3/h per m of screen",
    "stage 3 makes 4 more",
    "R = 3000 s √k, in m",
    "boring W12 m",
)


@pytest.mark.parametrize(("told", "expected"), US.items())
def test_quantities_are_shown_in_us_units(told, expected):
    assert shown_text(told, "us") == expected


@pytest.mark.parametrize("told", SAME)
def test_names_and_other_units_stay(told):
    assert shown_text(told, "us") == told


@pytest.mark.parametrize("told", US)
def test_metric_stays_as_it_is(told):
    assert shown_text(told, "metric") == told
