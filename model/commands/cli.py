"""The command line: reads options, calls the Python API, prints answers, returns exit codes.

Exit codes: 0 answered and all limits hold; 1 answered, some limit does not hold; 2 the input is
wrong; 3 the solver failed, or a figure, layer or page could not be written, which is named and
costs nothing else. ``--json`` prints the answers alone on stdout; messages and progress
go to stderr. Heavy modules are imported inside the commands, so that ``--help`` is quick.
"""

from __future__ import annotations

import io
import os
import signal
import sys
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperGroup

from wellring.inputs.basics.faults import WellringError
from wellring.model.commands import cli_outage, cli_size, cli_studies
from wellring.model.commands.terminal import (
    FiguresOption,
    JsonOption,
    OutOption,
    Progress,
    SiteArgument,
    SolverOption,
    leave,
    print_json,
    tell,
)


class _Commands(TyperGroup):
    """The commands, whose errors end in a message and an exit code and never in a traceback."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except WellringError as error:
            tell(str(error))
            raise typer.Exit(error.exit_code) from None
        except KeyboardInterrupt as stop:
            tell(f"Stopped. Nothing half-finished was left among the results. {stop}".rstrip())
            raise typer.Exit(130) from None
        except BrokenPipeError:  # the reader of our output has gone, as with `| head`
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(0) from None
        except MemoryError:
            tell(
                "This grid needs more memory than there is: make grid.cell or grid.largest larger."
            )
            raise typer.Exit(3) from None
        except OSError as error:
            where = f": {error.filename}" if error.filename else ""
            tell(f"A file could not be read or written{where}: {error.strerror or error}.")
            raise typer.Exit(2) from None


app = typer.Typer(
    name="wellring",
    cls=_Commands,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Choose, size and prove a groundwater control scheme for an excavation, with MODFLOW 6.",
    epilog="Every number is a model's, as good as the borings. Local codes and a licensed "
    "engineer decide.",
)


def _tell_version(asked: bool) -> None:
    if not asked:
        return
    from wellring.inputs.basics.faults import SolverMissing
    from wellring.model.mf6.solver import find_solver
    from wellring.model.runs.own_version import own_version

    typer.echo(f"wellring {own_version()}")
    try:
        found = find_solver(fetch=False, say=lambda text: None)
        typer.echo(f"MODFLOW 6 {found.version}, {found.origin}")
    except SolverMissing:
        typer.echo("MODFLOW 6: none that runs here; `wellring solver` gets one or says why")
    raise typer.Exit()


@app.callback()
def _before_every_command(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            help="Tell the versions of wellring and of the MODFLOW 6 it would use, and leave.",
            callback=_tell_version,
            is_eager=True,
        ),
    ] = False,
) -> None:
    pass


@app.command()
def start(
    folder: Annotated[Path, typer.Argument(help="Folder to make.", metavar="DIR")],
) -> None:
    """Make a small working site to edit.

    Example: wellring start my_site
    """
    from wellring.model.start_site import start_site

    made = start_site(folder)
    tell(f"A small invented site stands in {folder}. Next: wellring run {made}")


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
    from wellring.model.runs.check import check_site

    report = check_site(site, scheme, out)
    if as_json:
        print_json(report.as_json())
    else:
        typer.echo(report.text())
    leave(0, report.not_written)


@app.command()
def run(
    site: SiteArgument,
    scheme: Annotated[
        str | None, typer.Option("--scheme", help="Run only the scheme of this name.")
    ] = None,
    out: OutOption = None,
    solver: SolverOption = None,
    figures: FiguresOption = True,
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
    from wellring.model.runs.run import run as run_site

    with Progress() as say:
        runs = run_site(
            site, scheme, out, solver=solver, say=say, figures=figures, side_studies=side_studies
        )
    _show(runs, as_json)
    _leave(runs, all(item.answers.all_ok for item in runs))


@app.command()
def report(
    run_folder: Annotated[Path, typer.Argument(help="A finished run folder.", metavar="RUN")],
    soils: Annotated[
        Path | None,
        typer.Option(
            "--soils",
            help="TOML file with other [soils.NAME] compression tables to settle by.",
            metavar="FILE",
        ),
    ] = None,
    neighbours: Annotated[
        Path | None,
        typer.Option(
            "--neighbours",
            help="Vector file of neighbours, or TOML file of [[neighbours]], to assess instead.",
            metavar="FILE",
        ),
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option("--kind", help="Kind of a vector file's neighbours.", metavar="KIND"),
    ] = None,
    verify: Annotated[
        bool,
        typer.Option(
            "--verify", help="Check the inputs' hashes and solve again in a copy of the folder."
        ),
    ] = False,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against", help="Tell what differs from this other finished run.", metavar="OTHER"
        ),
    ] = None,
    cells: Annotated[
        bool,
        typer.Option("--cells", help="Also write all cells: layers/cells.nc, mesh.nc, cells.vtu."),
    ] = False,
    solver: SolverOption = None,
    figures: FiguresOption = True,
    as_json: JsonOption = False,
) -> None:
    """Post-process a finished run again, without solving; review it.

    Example: wellring report "my_site/site.runs/six wells" --verify
    """
    from wellring.model.runs.run import report as report_run

    with Progress() as say:
        done = report_run(
            run_folder,
            soils=soils,
            neighbours=neighbours,
            kind=kind,
            verify=verify,
            against=against,
            cells=cells,
            solver=solver,
            say=say,
            figures=figures,
        )
    _show([done], as_json)
    for told in (done.difference, done.review):
        if told is not None:
            typer.echo(told.text, err=as_json)
    reproduces = done.review is None or done.review.reproduces
    _leave([done], done.answers.all_ok and reproduces)


@app.command()
def solver(
    solver: SolverOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say which MODFLOW 6 is used, from where, its version; get one if none is there.

    Example: wellring solver
    """
    from wellring.model.mf6.solver import find_solver

    found = find_solver(solver, say=tell)
    if as_json:
        print_json(
            {
                "path": str(found.path),
                "version": found.version,
                "origin": found.origin,
                "sha256": found.sha256,
            }
        )
    else:
        typer.echo(f"MODFLOW 6 {found.version}, {found.origin}: {found.path}")


app.command()(cli_studies.compare)
app.command()(cli_studies.vary)
app.command()(cli_studies.match)
app.command()(cli_size.size)
app.command()(cli_outage.outage)


def _show(runs: list[Any], as_json: bool) -> None:
    if as_json:
        print_json({item.answers_name: item.answers.as_json() for item in runs})
        return
    from wellring.postprocess.run.summary import summary

    for item in runs:
        typer.echo(summary(item.reader, item.answers, item.folder))


def _leave(runs: list[Any], good: bool) -> NoReturn:
    leave(0 if good else 1, [text for item in runs for text in item.answers.not_written])


def main() -> None:
    """Entry point of the `wellring` command."""
    # A polite kill cleans up as Ctrl-C does: the solver is stopped, the partial folder removed.
    signal.signal(signal.SIGTERM, lambda *_: _interrupt())
    for stream in (sys.stdout, sys.stderr):  # a console that cannot show "³" gets "?" for it
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    app()


def _interrupt() -> None:
    raise KeyboardInterrupt


if __name__ == "__main__":
    main()
