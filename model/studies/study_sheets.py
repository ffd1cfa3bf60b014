"""Sheets on which studies draw: one look, a title that names site and scheme, PNG and SVG."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from wellring.inputs.read_site import Site
from wellring.postprocess.figures.style import DPI, drawing, plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure


class StudySheets:
    """Makes sheets and saves them in a folder; used in a `with` block, which sets the style."""

    def __init__(self, site: Site, scheme: str, folder: Path):
        self.site, self.scheme, self.folder = site, scheme, folder
        self.written: list[Path] = []
        folder.mkdir(exist_ok=True)

    def __enter__(self) -> StudySheets:
        self._context = drawing()
        self._context.__enter__()
        return self

    def __exit__(self, *error: object) -> None:
        self._context.__exit__(None, None, None)

    def sheet(self, wide: float, high: float, title: str) -> Any:
        """An empty sheet of this size [in]."""
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=(wide, high), dpi=DPI, layout="constrained")
        FigureCanvasAgg(figure)
        invented = "   INVENTED SITE" if self.site.description.site.invented else ""
        figure.suptitle(
            f"{plain(self.site.name, 50)} | {plain(self.scheme, 50)} | "
            f"{plain(title, 70)}{invented}",
            fontsize=9.5,
        )
        return figure

    def save(self, figure: Figure, name: str) -> None:
        """Write a sheet as `name`.png and .svg."""
        for suffix in (".png", ".svg"):
            figure.savefig(self.folder / f"{name}{suffix}", dpi=DPI)
            self.written.append(self.folder / f"{name}{suffix}")
