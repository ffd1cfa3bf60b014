"""Commands that solve a site many times; registered by :mod:`wellring.model.commands.cli`."""

from __future__ import annotations

from typing import Annotated

import typer

from wellring.model.commands.terminal import (
    ClusterOption,
    DrawOption,
    JsonOption,
    OutOption,
    PlanOption,
    Progress,
    SiteArgument,
    SolverOption,
    StudyOption,
    WorkersOption,
    end,
)


def compare(
    site: SiteArgument,
    out: OutOption = None,
    workers: WorkersOption = None,
    solver: SolverOption = None,
    figures: DrawOption = True,
    side_studies: Annotated[
        bool,
        typer.Option(
            "--side-studies/--no-side-studies",
            help="Also solve a coarser grid and a farther source of each scheme.",
        ),
    ] = False,
    outages: Annotated[
        bool,
        typer.Option(
            "--outages/--no-outages",
            help="Also stop all pumps in each scheme's last stage: time to flood.",
        ),
    ] = True,
    as_json: JsonOption = False,
) -> None:
    """Run all schemes and rank them: what each fails on, wells, discharge, cost.

    Exit code 0: some scheme keeps all limits; 1: none does; 3: none was solved.

    Example: wellring compare my_site/site.toml --workers 2
    """
    from wellring.model.studies.compare import compare as compare_site

    with Progress() as say:
        done = compare_site(
            site,
            out,
            workers=workers,
            solver=solver,
            say=say,
            figures=figures,
            side_studies=side_studies,
            outages=outages,
        )
    end(done, as_json)


def vary(
    site: SiteArgument,
    plan: PlanOption = None,
    out: StudyOption = None,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    solver: SolverOption = None,
    figures: DrawOption = True,
    as_json: JsonOption = False,
) -> None:
    """Sensitivity and uncertainty: solve many cases of a [vary] table; stop and go on at will.

    Exit code 0: no limit fails in any case; 1: some does; 3: no case was solved.

    Example: wellring vary my_site/site.toml --workers 2
    """
    from wellring.model.studies.vary.vary import vary as vary_site

    with Progress() as say:
        done = vary_site(
            site,
            out,
            plan_file=plan,
            workers=workers,
            cluster=cluster,
            solver=solver,
            say=say,
            figures=figures,
        )
    end(done, as_json)


def match(
    site: SiteArgument,
    plan: PlanOption = None,
    out: StudyOption = None,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    solver: SolverOption = None,
    figures: DrawOption = True,
    as_json: JsonOption = False,
) -> None:
    """Fit soils to measured levels, drawdowns and flows of a [match] table; then foretell.

    Exit code 0: with the fit all limits hold; 1: one does not, or a measurement passed its own.

    Example: wellring match my_site/site.toml --workers 2
    """
    from wellring.model.studies.match.match import match as match_site

    with Progress() as say:
        done = match_site(
            site,
            out,
            plan_file=plan,
            workers=workers,
            cluster=cluster,
            solver=solver,
            say=say,
            figures=figures,
        )
    end(done, as_json)
