"""Sentences in shown units: warnings and assumptions are worded in SI, where they are found."""

from __future__ import annotations

import re
from functools import lru_cache

from wellring.inputs.basics.units import shown

_KINDS = {
    "mm": ("settlement", 1e-3),
    "m": ("length", 1.0),
    "km": ("length", 1e3),
    "m²": ("area", 1.0),
    "m2": ("area", 1.0),
    "m³": ("volume", 1.0),
    "m3": ("volume", 1.0),
    "m/s": ("speed", 1.0),
    "m³/h": ("flow", 1 / 3600),
    "m3/h": ("flow", 1 / 3600),
    "m³/s": ("flow", 1.0),
    "m3/s": ("flow", 1.0),
    "L/s": ("flow", 1e-3),
}
_NUMBER = r"[-+−±]?\d[\d,]*(?:\.\d+)?(?:[eE][-+]?\d+)?"
# A name in quotes stays as the user wrote it; an apostrophe within a word opens no quote. A number
# that hangs on a word ("C14", "W-2") is no quantity, and m/day or m²/s are other units than m.
_QUANTITY = re.compile(
    r"(?P<name>(?<!\w)'[^']*'(?!\w)|\"[^\"]*\")"
    rf"|(?<![\w.,])(?P<numbers>(?:{_NUMBER}(?: to | × |, | or |–))*{_NUMBER})"
    rf" ?(?P<unit>{'|'.join(sorted(_KINDS, key=len, reverse=True))})(?![\w/²³·^]| per )"
)


def shown_text(text: str, system: str) -> str:
    """A sentence with its lengths, areas, volumes, flows and speeds in the units of `system`.

    Numbers keep as many significant digits as they have, two at least. Names in quotes, pressures
    and numbers without a unit stay; in the metric system the text stays as it is.

    Parameters
    ----------
    system : "metric" or "us".
    """
    return text if system == "metric" else _converted(text, system)


@lru_cache(maxsize=4096)
def _converted(text: str, system: str) -> str:
    def replaced(match: re.Match[str]) -> str:
        if match["name"] is not None:
            return match[0]
        kind, factor = _KINDS[match["unit"]]
        unit = shown(kind, system)

        def number(found: re.Match[str]) -> str:
            return _rounded(found[0], factor * unit.factor)

        return re.sub(_NUMBER, number, match["numbers"]) + f" {unit.unit}"

    return _QUANTITY.sub(replaced, text)


def _rounded(told: str, factor: float) -> str:
    """A number as told, times `factor`, with as many significant digits."""
    sign = "±" if told.startswith("±") else "+" if told.startswith("+") else ""
    value = float(told.lstrip("±").replace(",", "").replace("−", "-")) * factor
    digits = re.sub(r"\D", "", re.sub(r"[eE].*", "", told)).lstrip("0")
    text = f"{value:.{max(len(digits), 2)}g}"
    if 10.0 <= abs(value) < 1e9 and ("e" in text or "," in told):
        text = f"{float(text):,.0f}" if abs(value) >= 1e4 or "," in told else f"{float(text):.0f}"
    return sign + text
