"""The look all figures share: sheet, colours, line styles, text that comes from data, saving."""

from __future__ import annotations

import contextlib
import unicodedata
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from wellring.inputs.basics.units import Shown, shown
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DPI = 200
SCREEN_DPI = 120
"""Dots per inch of what is only looked at on a screen."""
SHEET = (11.69, 8.27)
"""Width and height [in] of a sheet: ISO 216 A4, landscape."""
MARGIN = 0.55
"""Free edge of a sheet [in]."""

INK = "#1c2730"
SOFT_INK = "#5d6872"
PAPER = "#ffffff"
BEYOND = "#f1efea"
WATER = "#1d5c8a"
WALL = "#a8452a"
ALARM = "#d9692b"
ALARM_LIGHT = "#f3b98f"
PIT = "#fbfaf7"
AQUIFER_LINES = (("#6b3576", "o"), ("#8a5a00", "s"), ("#2f6b4f", "^"), ("#7a2440", "D"))
"""Colour and mark of the heads of the aquifers, in order from the top."""
BANDS = (
    "#f4f8fa",
    "#e9f1f5",
    "#ddeaf0",
    "#d1e3eb",
    "#c5dbe6",
    "#b8d3e1",
    "#abcbdb",
    "#9dc2d5",
    "#90b9ce",
    "#82b0c7",
    "#75a6bf",
    "#689db8",
)
"""Fill of drawdown from little to much: one hue, so that it also orders in grey."""

SETTINGS: Any = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 7.5,
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "hatch.linewidth": 0.35,
    "hatch.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "wellring",
}


@contextlib.contextmanager
def drawing() -> Iterator[None]:
    """The settings in which every figure is drawn, whatever the user's own are."""
    import matplotlib

    with matplotlib.rc_context(), warnings.catch_warnings():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(SETTINGS)
        # Names may hold letters that no font here has; a box in their place is no error.
        warnings.filterwarnings("ignore", message=r"Glyph \d+", category=UserWarning)
        yield


def plain(text: str, limit: int = 48) -> str:
    """Text from data fit for a figure: one line, no control characters, at most `limit` long."""
    kept = "".join(
        " " if unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") else letter
        for letter in text
    )
    kept = " ".join(kept.split())
    return kept if len(kept) <= limit else kept[: limit - 1] + "…"


def key_text(text: str, limit: int = 60) -> str:
    """Text from data for a legend, which would leave out what starts with an underscore."""
    kept = plain(text, limit)
    return f" {kept}" if kept.startswith("_") else kept


@dataclass(frozen=True)
class Scales:
    """How a run's lengths, levels and flows are shown, and the units of its coordinates."""

    length: Shown
    flow: Shown
    metres_per_unit: float

    @classmethod
    def of(cls, run: RunFolder) -> Scales:
        """The scales a run's ledger asks for."""
        ledger = run.ledger
        return cls(shown("length", ledger.show), shown("flow", ledger.show), ledger.metres_per_unit)

    @property
    def crs_unit(self) -> str:
        """What a unit of the site's coordinate system is called."""
        for name, metres in (("m", 1.0), ("ft", 0.3048), ("US survey ft", 1200 / 3937)):
            if abs(self.metres_per_unit / metres - 1) < 5e-7:
                return name
        return f"units of {self.metres_per_unit:g} m"

    def crs(self, value: Any) -> Any:
        """Coordinates in metres (any shape) in units of the coordinate system."""
        return value / self.metres_per_unit

    def number(self, value: float, digits: int = 2) -> str:
        """A length [m] as shown, without its unit; no minus before a zero."""
        text = f"{self.length.number(value):.{digits}f}"
        return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")

    def amount(self, value: float) -> str:
        """A flow [m³/s] as shown, without its unit; small ones to more places."""
        number = self.flow.number(value)
        digits = 2 if abs(number) < 1 else 1 if abs(number) < 10 else min(self.flow.digits, 1)
        text = f"{number:,.{digits}f}"
        return text.lstrip("-") if float(text.replace(",", "")) == 0 else text.replace("-", "−")


def sheet(run: RunFolder, title: str, stage: str | None) -> Figure:
    """An empty sheet with its title, the site, scheme and stage.

    Parameters
    ----------
    title : what is drawn.
    stage : the stage it is drawn for, None if for all of them.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=SHEET, dpi=DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    ledger = run.ledger
    across, up = SHEET
    figure.text(
        MARGIN / across, 1 - 0.42 / up, plain(title, 90), fontsize=12.5, weight="bold", va="center"
    )
    parts = [plain(ledger.site, 50), f"scheme: {plain(ledger.scheme, 50)}"]
    if stage is not None:
        parts.append(f"stage: {plain(stage, 40)}")
    figure.text(
        MARGIN / across,
        1 - 0.67 / up,
        "   |   ".join(parts),
        fontsize=8.5,
        va="center",
        color=SOFT_INK,
    )
    if ledger.invented:
        figure.text(
            1 - MARGIN / across,
            1 - 0.45 / up,
            "INVENTED SITE",
            fontsize=10,
            weight="bold",
            va="center",
            ha="right",
            color=WALL,
            bbox={
                "boxstyle": "square,pad=0.35",
                "facecolor": PAPER,
                "edgecolor": WALL,
                "linewidth": 1.0,
            },
        )
    figure.text(
        1 - MARGIN / across,
        0.2 / up,
        _made_by(run),
        fontsize=6.5,
        va="bottom",
        ha="right",
        color=SOFT_INK,
    )
    return figure


def explain(figure: Figure, text: str) -> None:
    """Say at the sheet's foot how it is to be read, in lines of its width."""
    figure.text(
        MARGIN / SHEET[0],
        0.42 / SHEET[1],
        "\n".join(wrap(text, 205)),
        fontsize=6.6,
        va="bottom",
        linespacing=1.4,
    )


def _made_by(run: RunFolder) -> str:
    solver = run.provenance.get("solver", {})
    named = f", {solver['name']} {solver['version']}" if "version" in solver else ""
    return plain(f"wellring {run.provenance.get('wellring', '')}{named}", 60)


def panel(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Axes at a place on the sheet, all in inches from its lower left corner."""
    across, up = SHEET
    axes = figure.add_axes((left / across, bottom / up, width / across, height / up))
    axes.tick_params(length=2.5, pad=2)
    return axes


def save(figure: Figure, folder: Path, name: str, *, quick: bool = False) -> list[Path]:
    """Write a sheet as `name`.png and `name`.svg and let go of it.

    Parameters
    ----------
    quick : for the screen alone: no SVG, and a PNG of fewer dots.
    """
    written = []
    # No date: the same run gives the same file. Packed as hard as matplotlib would have it, writing
    # a PNG's pixels is a seventh of all drawing.
    kinds: tuple[tuple[str, dict[str, Any]], ...] = (
        (".png", {"metadata": {"Software": "wellring"}, "pil_kwargs": {"compress_level": 3}}),
        (".svg", {"metadata": {"Creator": "wellring", "Date": None}}),
    )
    for suffix, how in kinds[:1] if quick else kinds:
        path = folder / f"{name}{suffix}"
        figure.savefig(path, dpi=SCREEN_DPI if quick else DPI, facecolor=PAPER, **how)
        written.append(path)
    figure.clear()
    return written
