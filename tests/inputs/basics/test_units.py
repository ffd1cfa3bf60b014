"""Quantities: text with units to SI, and SI to shown units."""

from __future__ import annotations

import math
import re
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wellring.inputs.basics.units import DAY, EXAMPLES, conductivity_text, shown, to_si

# NIST Special Publication 811 (2008), appendix B.8, to the digits printed there; values from
# memory. What is exact by definition stands with its definition.
PUBLISHED = [
    ("1 ft", "m", 0.3048),
    ("1 in", "m", 0.0254),
    ("1 yd", "m", 0.9144),
    ("1 survey_foot", "m", 1200 / 3937),
    ("1 ft/min", "m/s", 5.08e-3),
    ("1 ft/day", "m/s", 0.3048 / 86400),
    ("1 gpm", "m3/s", 6.309020e-5),
    ("1 gal/min", "m3/s", 6.309020e-5),
    ("1 GPM", "m3/s", 6.309020e-5),
    ("1 mgd", "m3/s", 4.381264e-2),
    ("1 cfs", "m3/s", 2.831685e-2),
    ("1 ft3/s", "m3/s", 2.831685e-2),
    ("1 psi", "Pa", 6.894757e3),
    ("1 psf", "Pa", 4.788026e1),
    ("1 ksf", "Pa", 4.788026e4),
    ("1 tsf", "Pa", 2 * 4.788026e4),
    ("1 bar", "Pa", 1e5),
    ("1 kgf/cm2", "Pa", 98066.5),
    ("1 pcf", "N/m3", 1.601846e1 * 9.80665),
    ("1 lb/ft3", "N/m3", 1.601846e1 * 9.80665),
    ("1 lbf/ft3", "N/m3", 1.601846e1 * 9.80665),
]


@pytest.mark.parametrize(("text", "unit", "value"), PUBLISHED)
def test_published_factors(text: str, unit: str, value: float) -> None:
    assert to_si(text, unit) == pytest.approx(value, rel=5e-7)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("9 ft", "m", 2.7432),
        ("300 mm", "m", 0.3),
        ("-3.5 m", "m", -3.5),
        ("+.5m", "m", 0.5),
        ("1e3 cm", "m", 10.0),
        ("2e-4 m/s", "m/s", 2e-4),
        ("86.4 m/day", "m/s", 1e-3),
        ("86.4 m/d", "m/s", 1e-3),
        ("365.25 mm/year", "m/s", 1e-3 / 86400),
        ("36 m3/h", "m3/s", 0.01),
        ("36 m³/h", "m3/s", 0.01),
        ("36 m^3/h", "m3/s", 0.01),
        ("36 m**3/h", "m3/s", 0.01),
        ("36 m3/hr", "m3/s", 0.01),
        ("10 l/s", "m3/s", 0.01),
        ("600 L/min", "m3/s", 0.01),
        ("18 kN/m3", "N/m3", 18e3),
        ("18 kN/m³", "N/m3", 18e3),
        ("18 kPa", "Pa", 18e3),
        ("5 MPa", "Pa", 5e6),
        ("0.1 m2/MN", "1/Pa", 1e-7),
        ("0.1 1/MPa", "1/Pa", 1e-7),
        ("0.1 MPa^-1", "1/Pa", 1e-7),
        ("365.25 m2/year", "m2/s", 1 / 86400),
        ("1e-6 1/s", "1/s", 1e-6),
        ("1e-6 /s", "1/s", 1e-6),
        ("0.0864 1/day", "1/s", 1e-6),
        ("0.3048 1/ft", "1/m", 1.0),
        ("2 days", "s", 2 * DAY),
        ("5 kW", "W", 5e3),
        ("1/500", "1", 0.002),
        (" 1 / 500 ", "1", 0.002),
        ("20 %", "1", 0.2),
        ("0.2", "1", 0.2),
        ("12", "degC", 12.0),
    ],
)
def test_text_with_units(text: str, unit: str, value: float) -> None:
    assert to_si(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("unit", EXAMPLES)
def test_numbers_are_in_si(unit: str) -> None:
    assert to_si(3, unit) == 3.0
    assert to_si(2.5, unit) == 2.5
    assert to_si("2.5", unit) == 2.5


@pytest.mark.parametrize("unit", EXAMPLES)
def test_examples_of_messages_are_true(unit: str) -> None:
    """What a message tells the user to write is read."""
    for example in re.findall(r'"([^"]*)"', EXAMPLES[unit]):
        assert math.isfinite(to_si(example, unit))


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("", "m"),
        ("   ", "m"),
        ("m", "m"),
        ("deep", "m"),
        ("1,5 m", "m"),
        ("1 5 m", "m"),
        ("--3 m", "m"),
        ("3 M", "m"),
        ("3 s", "m"),
        ("3 m2", "m"),
        ("3 m/s", "m3/s"),
        ("3 m3/h", "m/s"),
        ("2 g/cm3", "N/m3"),
        ("20 kPa", "N/m3"),
        ("1e-6 m/s", "1/s"),
        ("1 darcy", "m/s"),
        ("nan", "m"),
        ("inf", "m"),
        ("1e999 m", "m"),
        ("1/0", "1"),
        ("0/0", "1"),
        ("1//2", "1"),
        ("2 m", "1"),
        ("nan", "1"),
        ("1 m; 2", "m"),
        ("1 " + "m" * 50, "m"),
        ("1 __import__('os').getcwd()", "m"),
        ("1 m**99999999", "m"),
        ("1 (9**9**9)", "m"),
        ("1 m*9**9**9", "m"),
        ("1\x00 m", "m"),
    ],
)
def test_text_that_is_no_quantity(text: str, unit: str) -> None:
    with pytest.raises(ValueError, match=re.escape(EXAMPLES[unit])):
        to_si(text, unit)


@pytest.mark.parametrize("value", [True, False, None, [1.0], {"m": 1}, b"1 m", 1j])
@pytest.mark.parametrize("unit", ["m", "1"])
def test_other_kinds_of_value(value: object, unit: str) -> None:
    with pytest.raises(ValueError, match=re.escape(EXAMPLES[unit])):
        to_si(value, unit)  # type: ignore[arg-type]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400, -(10**400)])
def test_numbers_without_end(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        to_si(value, "m")


@given(st.floats(min_value=-1e12, max_value=1e12), st.sampled_from(["m", "ft", "mm", "in", "km"]))
def test_every_number_written_is_read_back(number: float, symbol: str) -> None:
    one = to_si(f"1 {symbol}", "m")
    assert to_si(f"{number!r} {symbol}", "m") == pytest.approx(number * one, rel=1e-14)


@given(st.text(max_size=60), st.sampled_from(sorted(EXAMPLES)))
def test_any_text_is_a_number_or_a_message(text: str, unit: str) -> None:
    try:
        said = ""
        number = to_si(text, unit)
    except ValueError as error:
        number, said = 0.0, str(error)
    assert math.isfinite(number)
    assert said == "" or EXAMPLES[unit] in said


def test_usual_units_need_no_registry() -> None:
    """The units of the start site are read without the import that takes half a second."""
    code = (
        "import sys; from wellring.inputs.basics.units import to_si\n"
        "for text, unit in [('2e-4 m/s', 'm/s'), ('9 ft', 'm'), ('150 gpm', 'm3/s'), "
        "('18 kN/m3', 'N/m3'), ('0.1 m2/MN', '1/Pa'), ('3 m2/year', 'm2/s'), ('300 mm', 'm'), "
        "('20 m3/h', 'm3/s'), ('1e-6 1/s', '1/s')]: to_si(text, unit)\n"
        "assert 'pint' not in sys.modules\n"
        "to_si('1 furlong', 'm'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


@pytest.mark.parametrize(
    ("kind", "system", "value", "text"),
    [
        ("length", "metric", 1234.567, "1,234.57 m"),
        ("length", "us", 0.3048, "1.00 ft"),
        ("level", "us", -3.048, "-10.00 ft"),
        ("settlement", "metric", 0.0204, "20.4 mm"),
        ("settlement", "us", 0.0254, "1.00 in"),
        ("flow", "metric", 0.01, "36.0 m³/h"),
        ("flow", "us", 6.30902e-5 * 150, "150 gpm"),
        ("area", "us", 0.3048**2, "1 ft²"),
        ("volume", "us", 0.3048**3, "1 ft³"),
        ("length", "metric", None, "–"),
        ("length", "metric", math.nan, "–"),
        ("flow", "us", math.inf, "–"),
    ],
)
def test_shown(kind: str, system: str, value: float | None, text: str) -> None:
    assert shown(kind, system).text(value) == text


def test_shown_digits_and_number() -> None:
    assert shown("length", "us").text(0.3048, 0) == "1 ft"
    assert shown("flow", "metric").number(1 / 3600) == pytest.approx(1.0, rel=1e-15)


def test_conductivity_is_shown_in_powers_of_ten() -> None:
    assert conductivity_text(2e-4, "metric") == "2.0e-04 m/s"
    assert conductivity_text(0.3048 / DAY * 17, "us") == "17 ft/day"
