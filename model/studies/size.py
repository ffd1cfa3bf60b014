"""`wellring size`: the least pumping, the fewest wells or the least cost that keeps all limits.

**Candidates** are the deep wells of one scheme, each with a flow of its own in every stage, from 0
to what its pump, its screen and its lowest level allow. Everything else of the scheme (walls,
relief, recharge) keeps to its own rules in every solve.

**Solves.** One is the model of the whole scheme, natural state and all stages, as any run has it;
they are counted, and never more than candidates + 10: the base case, the scheme as it stands, a
start at equal rates that just about keep the dig dry, one for each well with its flow changed in
every stage (the unit responses), and up to seven that confirm: steps of the search, and the same
wells at equal rates, to compare with.

**Rows** (`sizing/rows.py`): the water under every floor cell against formation less clearance, as
a discharge potential, in which unconfined flow is nearly linear; uplift, exit gradient and heave of
every floor column; discharge and settling tank; each limit of each neighbour; each well's lowest
level, and what pump and screen give at the level the programme expects.

**Programme** (`sizing/programme.py`): linear for pumping and, with a binary a well, for the fewest
wells or the least cost (pumps that run and operators' posts in whole numbers), solved by HiGHS.
Where no flows keep all limits, the elastic programme says which limits are passed and by how much
at least: the neighbours' before the dig's.

**Search** (`sizing/search.py`): sequential linear programming. Every answer is solved by the true
model, the rows are set up anew about it, the responses learn from the step (Broyden), and a step
whose answer is far from what was expected is bounded. Taken is only what the true model's own
answers say is dry and within all limits, with the flows as they are written down (rounded up).

Not in the programme, and only told from the true model: limits of the whole run (volume),
flotation, pumps' heads, damage classes, and everything in time.

Points on a ring or a line (wellpoints, ejectors, wells) are swept by spacing or count instead
(`sizing/sweep.py`).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.read_site import Site
from wellring.inputs.site.drainage import DeepWells
from wellring.model.studies.engine import Study, open_study, read_with_tables
from wellring.model.studies.sizing.new_scheme import free_name, sized_scheme, write_site
from wellring.model.studies.sizing.prices import NO_QUOTATION, check_prices, prices_of, stage_weeks
from wellring.model.studies.sizing.programme import Goal, Infeasible
from wellring.model.studies.sizing.request import one_scheme, study_folder, target_of
from wellring.model.studies.sizing.result import Sized, point_of
from wellring.model.studies.sizing.rows import Rows, candidates_of, rows_of
from wellring.model.studies.sizing.search import Search
from wellring.model.studies.sizing.sized_site import sizing_base
from wellring.model.studies.sizing.start_flows import start_flows
from wellring.model.studies.variants import Variant, VariantStore

Floats = NDArray[np.float64]
Say = Callable[[str], None]


def size(
    site_file: str | Path,
    scheme: str | None = None,
    out: str | Path | None = None,
    *,
    goal: Goal = "pumping",
    keep_neighbours: bool = True,
    write: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    solver: str | Path | None = None,
    say: Say | None = None,
    figures: bool = True,
) -> Sized:
    """Size the deep wells of a scheme.

    Parameters
    ----------
    out : folder of the study (default ``<site>.size/<scheme>`` beside the site file).
    keep_neighbours : whether the neighbours' limits must hold too, or are only told.
    write : file for the new scheme, beside the site file (default ``<site>_sized.toml``); one of
        another sizing that stands there is kept, and the new one gets a number.

    Raises
    ------
    InputFaults, SolverMissing, SolverFailed : see :mod:`wellring.inputs.basics.faults`.
    """
    tell = say or (lambda text: None)
    path = Path(site_file)
    site, tables = read_with_tables(path)
    chosen, number = one_scheme(site, scheme)
    if not any(isinstance(table, DeepWells) for table in chosen.drainage):
        faults = site.fault_log()
        faults.add(path.name, "--scheme", chosen.name, "a scheme with deep wells, whose flows are "
                   "sized", "For wellpoints and ejectors take --spacing or --count.")  # fmt: skip
        faults.raise_if_any()
    target = target_of(path, write)
    if goal == "cost":
        check_prices(site)
    folder = study_folder(path, chosen.name, out)
    study = open_study(
        (site, tables), folder, scheme=chosen.name, solver=solver, workers=workers,
        cluster=cluster, say=tell,
    )  # fmt: skip
    study.base.controls = True
    layout = study.base.schemes[chosen.name].layout
    as_is = Variant({}, chosen.name)
    study.solve([as_is])
    own = study.store.outcome(as_is, fields=True)
    if own.failed:
        faults = site.fault_log()
        faults.add(path.name, "--scheme", chosen.name, "a scheme that the solver answers",
                   own.failed)  # fmt: skip
        faults.raise_if_any()
    rows = rows_of(layout, own, keep_neighbours)
    begun = point_of(rows, own)
    stages = [stage.name for stage in site.description.excavation.stages]
    start = start_flows(layout, rows, begun, study.base.schemes[chosen.name].heads[0])
    search = Search(
        study=_with_flows(study, layout, stages, start),
        rows=rows,
        number=number,
        stages=stages,
        goal=goal,
        prices=prices_of(layout, rows, _levels(rows, begun.rows)) if goal == "cost" else None,
        keep_neighbours=keep_neighbours,
        solves=2,
        say=tell,
    )
    try:
        search.run(start, begun)
    except Infeasible:
        tell("the wells' own limits leave no flows at all")
    done = Sized(study, chosen.name, "", own, begun.flows, search)
    done.warnings = _notes(done, site)
    _write(done, site, tables, number, target, figures, tell)
    return done


def _with_flows(study: Study, layout: Any, stages: list[str], start: Floats) -> Study:
    base = sizing_base(study.base, candidates_of(layout), stages, start)
    store = VariantStore(study.folder / "variants", base.hash)
    return Study(
        base, store, study.folder, study.workers, study.cluster, study.processes, study.say
    )


def _levels(rows: Rows, values: list[Floats]) -> list[Floats]:
    return [stage.levels(values[s]) for s, stage in enumerate(rows.stages)]


def _notes(done: Sized, site: Site) -> list[str]:
    found = []
    search = done.search
    if not search.keep_neighbours and site.neighbours is not None:
        found.append("neighbours' limits were left aside (--without-neighbours) and are only told")
    if done.rows.untouchable and search.keep_neighbours:
        listed = "; ".join(dict.fromkeys(done.rows.untouchable))
        found.append(f"passed before the work, so that no flows keep them: {listed}")
    if search.goal == "cost":
        found.append(NO_QUOTATION)
        if not stage_weeks(done.study.base.schemes[done.scheme].layout)[1]:
            found.append("a stage without days counts as one week in the cost")
    if site.description.time is not None:
        found.append("sized for the steady stages; the run in time tells when the water is down")
    if done.step is not None:
        found += [
            f"{told['label']} fails, which the programme does not see"
            for name in done.step.broken
            if (told := done.step.outcome.answers.get(name))
            and not name.startswith("neighbours.")
            and "." not in name
        ]
    found.append(
        "least pumping has nothing to spare: soil is uncertain, wells clog and fail. Vary the soil "
        "(wellring vary), take one well out (wellring outage), and keep standby pumps"
    )
    return found


def _write(
    done: Sized,
    site: Site,
    tables: dict[str, Any],
    number: int,
    target: Path,
    figures: bool,
    say: Say,
) -> None:
    import pandas

    from wellring.postprocess.run.result_set import result_set

    step = done.step
    done.new_scheme = free_name(
        f"{done.scheme}, sized", [scheme.name for scheme in site.description.schemes]
    )
    if step is not None and done.dig_holds:
        scheme = sized_scheme(
            tables["schemes"][number], done.new_scheme, done.rows.candidates, done.search.stages,
            step.flows, site.crs.metres_per_unit, site.description.site.show,
        )  # fmt: skip
        done.written = write_site(
            site.file, target, scheme, f"the scheme '{done.new_scheme}' stands at its end"
        )
    with result_set(done.study.folder) as place:
        (place / "tables").mkdir()
        head, rows = done.flows_table()
        pandas.DataFrame(rows, columns=head).to_csv(place / "tables" / "flows.csv", index=False)
        text = json.dumps(done.as_json(), ensure_ascii=False, indent=1)
        (place / "size.json").write_text(text, encoding="utf-8")
        (place / "size.txt").write_text(done.text(), encoding="utf-8")
        if figures:
            from wellring.model.studies.sizing.draw import draw_sizes
            from wellring.model.studies.sizing.size_page import size_page
            from wellring.postprocess.not_written import NotWritten
            from wellring.postprocess.report.report_page import REPORT_FILE

            failed = NotWritten()
            say("drawing the figure")
            with failed.item("figure size"):
                draw_sizes(done, place / "figures")
            say("writing the report")
            with failed.item(REPORT_FILE):
                size_page(done).write(place / REPORT_FILE)
            done.not_written = failed.items
