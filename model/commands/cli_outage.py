"""The command `wellring outage`; registered by :mod:`wellring.model.commands.cli`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wellring.model.commands.terminal import (
    DrawOption,
    JsonOption,
    OutOption,
    Progress,
    SolverOption,
    end,
)


def outage(
    site: Annotated[
        Path,
        typer.Argument(help="The site file (TOML), or a finished run folder.", metavar="SITE|RUN"),
    ],
    scheme: Annotated[
        str | None, typer.Option("--scheme", help="The scheme (where there are several).")
    ] = None,
    stage: Annotated[
        str | None, typer.Option("--stage", help="The stage (default: the last one dug).")
    ] = None,
    pump: Annotated[
        list[str] | None,
        typer.Option("--pump", help="A well or group that stops; repeat it (default: all)."),
    ] = None,
    days: Annotated[float, typer.Option("--for", help="Days to follow the water.")] = 7.0,
    depth: Annotated[
        list[float] | None,
        typer.Option("--depth", help="Depth of water over the floor [m]; repeat it (0.1, 0.5, 1)."),
    ] = None,
    standby: Annotated[
        float | None,
        typer.Option("--standby", help="Hours until standby power runs.", metavar="HOURS"),
    ] = None,
    single_wells: Annotated[
        bool | None,
        typer.Option(
            "--single-wells/--no-single-wells",
            help="Also take one well or header out at a time (default: where at most 30).",
        ),
    ] = None,
    out: OutOption = None,
    solver: SolverOption = None,
    figures: DrawOption = True,
    as_json: JsonOption = False,
) -> None:
    """The pumps stop: when is the floor under water or lifted? And may one well fail?

    Exit code 1: the water is at formation, or a plug under the floor at its limit, before
    --standby power runs (where none is given: a plug within the hour); or a plug does not hold
    with one well or header out.

    Example: wellring outage my_site/site.toml --stage "final dig" --standby 2
    """
    from wellring.model.outage.run_outage import DEPTHS
    from wellring.model.outage.run_outage import outage as stop_pumps

    with Progress() as say:
        done = stop_pumps(
            site,
            scheme=scheme,
            stage=stage,
            pumps=pump or (),
            days=days,
            depths=depth or DEPTHS,
            standby=standby,
            single_wells=single_wells,
            out=out,
            solver=solver,
            figures=figures,
            say=say,
        )
    end(done, as_json)
