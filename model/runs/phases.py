"""The dig in time: pumping before it, then each stage from its day to the next one's."""

from __future__ import annotations

from dataclasses import dataclass

from wellring.inputs.read_site import Site, run_begins
from wellring.model.grid.grid_sizes import formations

LAST_STAGE_LASTS = 90.0
"""Days the last stage is followed where it says nothing (an assumption that is printed)."""


@dataclass(frozen=True)
class Phase:
    """One stretch of time in which nothing changes but the water.

    Parameters
    ----------
    name : shown to the user.
    stage : index of the stage whose walls and points stand.
    formation : floor of the dig [m], None while only the pumps run.
    begins, ends : days.
    """

    name: str
    stage: int
    formation: float | None
    begins: float
    ends: float


def phases(site: Site) -> list[Phase]:
    """The phases of a site that asks for time; days of all stages are given (checked)."""
    stages = site.description.excavation.stages
    levels = formations(site)
    days = [float(stage.day or 0.0) for stage in stages]
    found = []
    starts = run_begins(site.description)
    if starts is not None and starts < days[0]:
        found.append(Phase("pumping before the dig", 0, None, starts, days[0]))
    for index, stage in enumerate(stages):
        last = index == len(stages) - 1
        ends = days[index] + (stage.lasts or LAST_STAGE_LASTS) if last else days[index + 1]
        if ends > days[index]:
            found.append(Phase(stage.name, index, levels[index], days[index], ends))
    return found


def phase_assumptions(site: Site) -> list[str]:
    """What the site file leaves open about time, and what is taken for it."""
    if site.description.time is None:
        return []
    last = site.description.excavation.stages[-1]
    found = [] if last.lasts else [f"'{last.name}' is followed for {LAST_STAGE_LASTS:g} days"]
    if site.description.time.pumping_starts is None:
        found.append("the pumps start on the day the first stage is dug")
    return found
