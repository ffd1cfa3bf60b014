"""What each scheme of a comparison costs, and what that is made of: a bar a scheme."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from wellring.postprocess.comparison.comparison import SchemeRow
from wellring.postprocess.figures.style import DPI, INK, SOFT_INK, drawing, plain, save
from wellring.postprocess.run.run_folder import RunFolder

LOOKS = {
    "operators": ("#1d4e70", ""),
    "power": ("#e2b66c", ""),
    "pump hire": ("#8fb6cc", ""),
    "standby power hire": ("#f3dfb8", "////"),
    "header hire": ("#cfe0ea", "\\\\\\\\"),
    "settling tank hire": ("#dfe7d8", "...."),
    "discharge fee": ("#7fa37a", ""),
    "treatment": ("#b9cfb4", "////"),
    "drilling": ("#b5644a", ""),
    "installation": ("#dba893", ""),
    "wall": ("#5c5470", ""),
    "mobilisation": ("#8a8f94", ""),
}
"""Fill and hatch of each item: people, power, pumps, water, ground."""
FAILS = "\n(fails a limit)"
NO_WALL_PRICE = "\n(wall without a price)"
NOTE = "Quantities of each run times the site's own prices: an estimate, no quotation"
OTHER = ("#ffffff", "xxxx")


def draw_costs(schemes: Sequence[SchemeRow], folder: Path) -> list[Path]:
    """Draw the cost of schemes, in the order given: one stacked bar each.

    A scheme that fails a limit is marked: it is no offer, however cheap. So is one whose wall has
    no price: its bar is too short by the dearest item of all.

    Returns
    -------
    list of Path : costs.png and costs.svg in `folder`; none where no run tells its cost, or two
        tell it in different currencies.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    told = [(row, row.costs) for row in schemes if row.folder]
    told = [one for one in told if any(one[1].money.values())]
    if not told or len({parts.currency for _, parts in told}) > 1:
        return []
    currency = told[0][1].currency
    items = list(dict.fromkeys([*LOOKS, *(item for _, parts in told for item in parts.money)]))
    with drawing():
        figure = Figure(figsize=(9.2, 0.42 * len(told) + 2.2), dpi=DPI, layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots()
        rows, start = np.arange(len(told)), np.zeros(len(told))
        for item in items:
            width = np.array([max(parts.money.get(item, 0.0), 0.0) for _, parts in told])
            if not width.any():
                continue
            fill, hatch = LOOKS.get(item, OTHER)
            axes.barh(rows, width, left=start, height=0.62, facecolor=fill, hatch=hatch,
                      edgecolor=INK, linewidth=np.where(width > 0, 0.4, 0.0), label=item,
                      zorder=2)  # fmt: skip
            start = start + width
        most = float(start.max()) or 1.0
        for row, total, (_, parts) in zip(rows, start, told, strict=True):
            more = " + wall" if parts.wall_unpriced else ""
            axes.text(float(total + 0.008 * most), float(row), f"{total:,.0f}{more}", fontsize=8,
                      weight="bold", va="center")  # fmt: skip
        axes.set_xlim(0, 1.14 * most)
        axes.set_ylim(len(told) - 0.45, -0.55)
        names = [
            f"{plain(row.scheme, 34)}{'' if row.holds else FAILS}"
            f"{NO_WALL_PRICE if parts.wall_unpriced else ''}"
            for row, parts in told
        ]
        axes.set_yticks(rows, names, fontsize=8)
        axes.xaxis.set_major_formatter("{x:,.0f}")
        axes.set_xlabel(f"Cost over all stages [{plain(currency, 20)}]")
        axes.grid(axis="x", color="#d7d9da", linewidth=0.4)
        axes.set_axisbelow(True)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        assert told[0][0].folder is not None
        first = RunFolder(told[0][0].folder).ledger
        invented = "   INVENTED SITE" if first.invented else ""
        title = f"{plain(first.site, 60)}: cost of the schemes, best ranked first{invented}"
        figure.suptitle(title, fontsize=10)
        figure.legend(loc="outside lower center", ncols=4, fontsize=7.5)
        missing = sorted({item for _, parts in told for item in parts.unpriced})
        note = f"{NOTE}; without a price: {', '.join(missing)}" if missing else NOTE
        note = textwrap.fill(plain(note, 400), 130)
        axes.set_title(note, fontsize=7.5, color=SOFT_INK, loc="left")
        return save(figure, folder, "costs")
