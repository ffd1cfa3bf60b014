"""How soils are drawn: one colour and hatch a soil, the same in all figures of a site."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from wellring.postprocess.figures.style import INK, key_text
from wellring.postprocess.run.ledger import Ledger

if TYPE_CHECKING:
    from matplotlib.patches import Patch

PERVIOUS = 1e-5
"""kh [m/s] from which a soil is drawn with dots: it yields water to wells (common practice)."""
TIGHT = 1e-7
"""kh [m/s] below which a soil is drawn with level strokes (common practice, no source)."""

_DOTTED = (
    ("#f4e2b2", ".."),
    ("#e2bf7c", "oo"),
    ("#faf1d8", "."),
    ("#cfa763", "o"),
    ("#efd0a4", "...."),
)
_SLANTED = (("#dbe0cb", "///"), ("#b9c4a2", "\\\\\\"), ("#edf0e3", "//"), ("#9dab85", "xxx"))
_LEVEL = (
    ("#c4bccb", "---"),
    ("#998fa6", "----"),
    ("#dfdae3", "--"),
    ("#7f7690", "-----"),
    ("#aeb2bd", "+++"),
)
UNKNOWN = ("#ffffff", "")


@dataclass(frozen=True)
class SoilLook:
    """Fill and hatch of a soil."""

    fill: str
    hatch: str

    def patch(self, label: str) -> Patch:
        """A legend entry."""
        from matplotlib.patches import Patch

        return Patch(
            facecolor=self.fill,
            hatch=self.hatch,
            edgecolor=INK,
            linewidth=0.5,
            label=key_text(label),
        )


def soil_looks(ledger: Ledger) -> dict[str, SoilLook]:
    """The look of every soil that is modelled or logged, in the order of the site file.

    The hatch tells the class of permeability (dots: pervious; slanted: middling; level strokes:
    tight), the colour the soil within its class. A logged soil that is not modelled stays white.
    """
    used: dict[int, int] = {}
    looks: dict[str, SoilLook] = {}
    for name, soil in ledger.soils.items():
        family = _DOTTED if soil.kh >= PERVIOUS else _SLANTED if soil.kh >= TIGHT else _LEVEL
        count = used.get(id(family), 0)
        used[id(family)] = count + 1
        looks[name] = SoilLook(*family[count % len(family)])
    for boring in ledger.borings:
        for _, _, name in boring.intervals:
            looks.setdefault(name, SoilLook(*UNKNOWN))
    return looks
