"""The command line: reads options, calls the Python API, prints answers, returns exit codes.

Exit codes: 0 answered and all limits hold; 1 answered, some limit does not hold; 2 the input is
wrong; 3 the solver failed. ``--json`` prints the answers alone on stdout; messages and progress
go to stderr. Heavy modules are imported inside the commands, so that ``--help`` is quick.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from wellring.inputs.faults import WellringError

app = typer.Typer(
    name="wellring",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Choose, size and prove a groundwater control scheme for an excavation, with MODFLOW 6.",
    epilog="Every number is a model's, as good as the borings. Local codes and a licensed "
    "engineer decide.",
)

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
JsonOption = Annotated[bool, typer.Option("--json", help="Print the answers alone, as JSON.")]


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(help="Folder to make.", metavar="DIR")],
) -> None:
    """Make a small working site to edit.

    Example: wellring start my_site
    """
    from wellring.model.start_site import start_site

    made = start_site(folder)
    _tell(f"A small invented site stands in {folder}. Next: wellring run {made}")


@app.command()
def check(
    site: SiteArgument,
    scheme: Annotated[str | None, typer.Option("--scheme", help="Only this scheme.")] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for the drawings (default: SITE's name + .check)."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Read and check everything, say what would be modelled, draw it; run nothing.

    Example: wellring check my_site/site.toml
    """
    from wellring.model.check import check_site

    report = check_site(site, scheme, out)
    if as_json:
        _print_json(report.as_json())
    else:
        typer.echo(report.text())


@app.command()
def run(
    site: SiteArgument,
    scheme: Annotated[
        str | None, typer.Option("--scheme", help="Run only the scheme of this name.")
    ] = None,
    out: OutOption = None,
    solver: SolverOption = None,
    figures: Annotated[
        bool, typer.Option("--figures/--no-figures", help="Draw figures and write GIS layers.")
    ] = True,
    side_studies: Annotated[
        bool,
        typer.Option(
            "--side-studies/--no-side-studies",
            help="Also solve a coarser grid and a farther source.",
        ),
    ] = True,
    as_json: JsonOption = False,
) -> None:
    """Build, solve and post-process; print the answers.

    Example: wellring run my_site/site.toml --scheme "six wells"
    """
    from wellring.model.run import run as run_site

    with _Progress() as say:
        runs = run_site(
            site, scheme, out, solver=solver, say=say, figures=figures, side_studies=side_studies
        )
    _show(runs, as_json)
    raise typer.Exit(0 if all(item.answers.all_ok for item in runs) else 1)


@app.command()
def report(
    run_folder: Annotated[Path, typer.Argument(help="A finished run folder.", metavar="RUN")],
    as_json: JsonOption = False,
) -> None:
    """Post-process a finished run again, without solving.

    Example: wellring report "my_site/site.runs/six wells"
    """
    from wellring.model.run import Run
    from wellring.postprocess.answers import post_process
    from wellring.postprocess.run_folder import RunFolder

    with _Progress() as say:
        answers = post_process(RunFolder(run_folder), say=say)
    _show([Run(run_folder, answers)], as_json)
    raise typer.Exit(0 if answers.all_ok else 1)


@app.command()
def solver(
    solver: SolverOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say which MODFLOW 6 is used, from where, its version; get one if none is there.

    Example: wellring solver
    """
    from wellring.model.solver import find_solver

    found = find_solver(solver, say=_tell)
    if as_json:
        _print_json(
            {
                "path": str(found.path),
                "version": found.version,
                "origin": found.origin,
                "sha256": found.sha256,
            }
        )
    else:
        typer.echo(f"MODFLOW 6 {found.version}, {found.origin}: {found.path}")


def _show(runs: list[Any], as_json: bool) -> None:
    if as_json:
        _print_json({item.answers_name: item.answers.as_json() for item in runs})
        return
    from wellring.postprocess.summary import summary

    for item in runs:
        typer.echo(summary(item.reader, item.answers, item.folder))


def _print_json(content: Any) -> None:
    typer.echo(json.dumps(content, ensure_ascii=False, indent=1))


def _tell(text: str) -> None:
    typer.echo(text, err=True)


class _Progress:
    """Progress on stderr: one line that is written over on a terminal, plain lines elsewhere."""

    def __enter__(self) -> Callable[[str], None]:
        self.status: Any = None
        if sys.stderr.isatty():
            from rich.console import Console

            self.status = Console(stderr=True).status("starting")
            self.status.start()
            from rich.markup import escape

            return lambda text: self.status.update(escape(text))
        self.last = ""
        return self._line

    def _line(self, text: str) -> None:
        head = text.split(": outer iteration")[0]
        if head != self.last and not text.endswith(": working"):
            _tell(text)
            self.last = head

    def __exit__(self, *unused: object) -> None:
        if self.status is not None:
            self.status.stop()


def main() -> None:
    """Entry point of the `wellring` command."""
    try:
        app()
    except WellringError as error:
        _tell(str(error))
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        _tell("Stopped; nothing half-finished was left in the results.")
        sys.exit(130)
    except BrokenPipeError:
        sys.exit(0)


if __name__ == "__main__":
    main()
