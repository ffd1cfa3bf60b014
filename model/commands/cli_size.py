"""The command `wellring size`; registered by :mod:`wellring.model.commands.cli`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from wellring.inputs.basics.faults import FaultLog
from wellring.model.commands.terminal import (
    ClusterOption,
    DrawOption,
    JsonOption,
    Progress,
    SiteArgument,
    SolverOption,
    WorkersOption,
    end,
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
    spacing: Annotated[
        list[str] | None,
        typer.Option("--spacing", help="Try this spacing of points instead; repeat it."),
    ] = None,
    count: Annotated[
        list[str] | None,
        typer.Option("--count", help="Try so many points instead; repeat it."),
    ] = None,
    table: Annotated[
        str | None, typer.Option("--table", help="Name of the drainage table to spread otherwise.")
    ] = None,
    without_neighbours: Annotated[
        bool,
        typer.Option("--without-neighbours", help="Leave neighbours' limits aside; only tell."),
    ] = False,
    write: Annotated[
        Path | None,
        typer.Option(
            "--write",
            help="File for the new scheme (default: SITE's name + _sized, numbered if taken).",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder of the study (default: SITE's name + .size/SCHEME)."),
    ] = None,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    solver: SolverOption = None,
    figures: DrawOption = True,
    as_json: JsonOption = False,
) -> None:
    """The least pumping (wells, cost) that keeps every stage dry and all limits, proven by a solve.

    With --spacing or --count: the widest spacing, or the fewest points, that stay dry.
    Exit code 0: found, and all limits of the site hold; 1: some limit does not.

    Example: wellring size my_site/site.toml --goal wells
    """
    if spacing or count:
        _sweep(site, scheme, spacing, count, table, write, out, workers, cluster, solver,
               figures, as_json)  # fmt: skip
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
    end(done, as_json)


def _sweep(
    site: Path,
    scheme: str | None,
    spacing: list[str] | None,
    count: list[str] | None,
    table: str | None,
    write: Path | None,
    out: Path | None,
    workers: int | None,
    cluster: str | None,
    solver: Path | None,
    figures: bool,
    as_json: bool,
) -> NoReturn:
    """The other way to size: points of one table closer or farther apart."""
    from wellring.model.studies.sizing.sweep import sweep

    if spacing and count:
        faults = FaultLog()
        faults.add("the command", "--count", ", ".join(count), "either --spacing or --count")
        faults.raise_if_any()
    with Progress() as say:
        done = sweep(
            site,
            "spacing" if spacing else "count",
            spacing or count or [],
            scheme,
            table,
            out,
            write=write,
            workers=workers,
            cluster=cluster,
            solver=solver,
            say=say,
            figures=figures,
        )
    end(done, as_json)
