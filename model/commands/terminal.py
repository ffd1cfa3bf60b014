"""What the commands share: their common options, and what they say to a terminal."""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, NoReturn, Protocol

import typer

SiteArgument = Annotated[Path, typer.Argument(help="The site file (TOML).", metavar="SITE")]
SolverOption = Annotated[
    Path | None, typer.Option("--solver", help="MODFLOW 6 executable to use.", metavar="PATH")
]
OutOption = Annotated[
    Path | None,
    typer.Option(
        "--out", help="Folder for the results (default: SITE's name + .runs).", metavar="DIR"
    ),
]
StudyOption = Annotated[
    Path | None,
    typer.Option(
        "--out",
        help="Folder of the study (default: SITE's name + .vary or .match).",
        metavar="DIR",
    ),
]
PlanOption = Annotated[
    Path | None,
    typer.Option(
        "--plan", help="TOML with a [vary] or [match] table to use instead.", metavar="FILE"
    ),
]
FiguresOption = Annotated[
    bool,
    typer.Option("--figures/--no-figures", help="Draw figures, write GIS layers and the report."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the answers alone, as JSON.")]
ClusterOption = Annotated[
    str | None,
    typer.Option("--cluster", help="Address of a running Dask scheduler.", metavar="ADDRESS"),
]
WorkersOption = Annotated[
    int | None,
    typer.Option("--workers", min=1, help="Solvers at work at a time (default: one a core)."),
]
DrawOption = Annotated[bool, typer.Option("--figures/--no-figures", help="Draw figures.")]


class Done(Protocol):
    """What a study gives back."""

    @property
    def folder(self) -> Path:
        """Where its files are."""
        ...

    @property
    def exit_code(self) -> int:
        """How it ended."""
        ...

    @property
    def not_written(self) -> list[str]:
        """Figures, layers and pages that could not be written."""
        ...

    def text(self) -> str:
        """The answers for a terminal."""
        ...

    def as_json(self) -> Any:
        """The answers as data."""
        ...


def end(done: Done, as_json: bool) -> NoReturn:
    """Print a study's answers, as text with the place of its files or as JSON alone, and leave."""
    if as_json:
        print_json(done.as_json())
    else:
        typer.echo(done.text() + f"Files: {done.folder}")
    leave(done.exit_code, done.not_written)


def leave(code: int, not_written: list[str]) -> NoReturn:
    """End the command; 3 in place of 0 and 1 where something could not be written, which is named.

    The answers stand all the same, in their files and on the terminal.
    """
    for item in not_written:
        tell(f"Not written: {item}")
    raise typer.Exit(3 if not_written and code in (0, 1) else code)


def print_json(content: Any) -> None:
    """Print `content` as JSON on stdout, in ASCII where stdout cannot take more."""
    plain = not str(sys.stdout.encoding).lower().startswith("utf")
    typer.echo(json.dumps(content, ensure_ascii=plain, indent=1))


def tell(text: str) -> None:
    """Say `text` on stderr."""
    typer.echo(text, err=True)


_SILENT_FOR = 10.0
"""Seconds without a new message after which the last one is repeated."""
_DETAIL = ": outer iteration"


class Progress:
    """Progress on stderr: one line that renews itself on a terminal, plain lines elsewhere.

    Elsewhere a line is printed for everything new that is done, and every ten seconds while it
    lasts, also where whoever works says nothing.
    """

    def __enter__(self) -> Callable[[str], None]:
        self.display: Any = None
        self.over = threading.Event()
        if sys.stderr.isatty():
            from rich.console import Console
            from rich.markup import escape
            from rich.progress import Progress as Display
            from rich.progress import SpinnerColumn, TextColumn, TimeElapsedColumn

            columns = (SpinnerColumn(), TimeElapsedColumn(), TextColumn("{task.description}"))
            self.display = Display(*columns, console=Console(stderr=True), transient=True)
            self.display.start()
            task = self.display.add_task("starting")
            return lambda text: self.display.update(task, description=escape(text))
        self.text, self.head = "starting", ""
        self.began = self.told = time.monotonic()
        threading.Thread(target=self._remind, daemon=True).start()
        return self._line

    def _line(self, text: str) -> None:
        self.text = text
        head = text.split(_DETAIL)[0]
        if head != self.head and not text.endswith(": working"):
            self.head = head
            self.began = self.told = time.monotonic()
            tell(text)

    def _remind(self) -> None:
        while not self.over.wait(0.1 * _SILENT_FOR):
            now = time.monotonic()
            if now - self.told >= _SILENT_FOR:
                self.told = now
                tell(f"{self.text} ({now - self.began:.0f} s)")

    def __exit__(self, *unused: object) -> None:
        self.over.set()
        if self.display is not None:
            self.display.stop()
