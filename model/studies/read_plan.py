"""The plan of a study: the site's own [vary] or [match] table, or one in a file of its own."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.basics.toml_text import TomlFaults, load_toml
from wellring.inputs.basics.units import to_si
from wellring.inputs.read_site import Site, read_description
from wellring.inputs.site.match_plan import MatchPlan
from wellring.inputs.site.vary_plan import VaryPlan


def read_plan(site: Site, plan_file: str | Path | None) -> VaryPlan:
    """The [vary] table of `plan_file`, or of the site where that is None.

    Raises
    ------
    InputFaults : there is none, the file cannot be read, or something in it is wrong.
    """
    remedy = (
        'Add [vary] with [[vary.parameters]], such as path = "soils.sand.kh" and '
        "factor = [0.3, 3.0]."
    )
    plan, _ = _plan_of(site, plan_file, "vary", remedy)
    assert isinstance(plan, VaryPlan)
    return plan


def read_match_plan(site: Site, plan_file: str | Path | None) -> tuple[MatchPlan, Path]:
    """The [match] table of `plan_file`, or of the site where that is None, and the file it is in.

    Raises
    ------
    InputFaults : as :func:`read_plan`.
    """
    remedy = (
        'Add [match] with observations = "measured.csv" and [[match.parameters]], such as '
        'path = "soils.sand.kh".'
    )
    plan, file = _plan_of(site, plan_file, "match", remedy)
    assert isinstance(plan, MatchPlan)
    return plan, file


def _plan_of(
    site: Site, plan_file: str | Path | None, key: str, remedy: str
) -> tuple[VaryPlan | MatchPlan, Path]:
    faults: FaultLog = FaultLog()
    if plan_file is None:
        plan = getattr(site.description, key)
        if plan is None:
            faults.add(site.file.name, key, None, f"a [{key}] table, or a plan given by --plan",
                       remedy)  # fmt: skip
            faults.raise_if_any()
        return plan, site.file
    path = Path(plan_file)
    loaded = load_toml(path, faults)
    own = load_toml(site.file, faults)
    faults.raise_if_any()
    assert loaded is not None
    assert own is not None
    faults = TomlFaults(file=path.name, lines=loaded[1])
    # Read as part of the site, so that its paths are checked against the site's own tables.
    tables = {**own[0], key: loaded[0].get(key, loaded[0])}
    description = read_description(tables, path.name, faults)
    faults.raise_if_any()
    assert description is not None
    return getattr(description, key), path


def read_limits(
    plan: VaryPlan, answers: Mapping[str, Mapping[str, Any]], faults: FaultLog, file: str
) -> dict[str, float]:
    """The plan's limits [SI] by answer.

    Parameters
    ----------
    answers : what the base case answered, by name, each with its "unit".

    Raises
    ------
    InputFaults : a limit is of no answer, or is no quantity in its unit.
    """
    found = {}
    for name, value in plan.limits.items():
        place = f"vary.limits.{name}"
        if name not in answers:
            faults.add(file, place, None, "the name of an answer of this site",
                       nearest(name, answers))  # fmt: skip
            continue
        try:
            found[name] = to_si(value, answers[name]["unit"])
        except (ValueError, TypeError) as error:
            faults.add(file, place, value, f"a quantity in {answers[name]['unit']}", f"{error}.")
    faults.raise_if_any()
    return found
