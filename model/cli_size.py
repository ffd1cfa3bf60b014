"""The command `wellring size`; registered by :mod:`wellring.model.cli`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from wellring.model.terminal import (
    DrawOption,
    JsonOption,
    Progress,
    SiteArgument,
    SolverOption,
    WorkersOption,
    print_json,
)


class Goal(StrEnum):
    """What is made least."""

    pumping = "pumping"
    wells = "wells"
    cost = "cost"


def size(
    site: SiteArgument,
    scheme: Annotated[
        str | None, typer.Option("--scheme", help="The scheme (where there are several).")
    ] = None,
    goal: Annotated[
        Goal, typer.Option("--goal", help="Least pumping, fewest wells or least cost.")
    ] = Goal.pumping,
    without_neighbours: Annotated[
        bool,
        typer.Option("--without-neighbours", help="Leave neighbours' limits aside; only tell."),
    ] = False,
    write: Annotated[
        Path | None,
        typer.Option("--write", help="File for the new scheme (default: SITE's name + _sized)."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder of the study (default: SITE's name + .size/SCHEME)."),
    ] = None,
    workers: WorkersOption = None,
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", help="Address of a running Dask scheduler.", metavar="ADDRESS"),
    ] = None,
    solver: SolverOption = None,
    figures: DrawOption = True,
    as_json: JsonOption = False,
) -> None:
    """The least pumping (wells, cost) that keeps every stage dry and all limits, proven by a solve.

    Exit code 0: found, and all limits of the site hold; 1: some limit does not.

    Example: wellring size my_site/site.toml --goal wells
    """
    from wellring.model.studies.size import size as size_site

    with Progress() as say:
        done = size_site(
            site,
            scheme,
            out,
            goal=goal.value,
            keep_neighbours=not without_neighbours,
            write=write,
            workers=workers,
            cluster=cluster,
            solver=solver,
            say=say,
            figures=figures,
        )
    if as_json:
        print_json(done.as_json())
    else:
        typer.echo(done.text() + f"Files: {done.study.folder}")
    raise typer.Exit(done.exit_code)
