"""The site with flows by stage for every candidate: as tables for variants, and as a new scheme."""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown, to_si
from wellring.inputs.read_site import site_of_tables
from wellring.model.layouts.layout import lay_out
from wellring.model.studies.base_case import BaseCase, BaseScheme
from wellring.model.studies.sizing.rows import Candidate
from wellring.model.studies.variants import Variant

Floats = NDArray[np.float64]

DIGITS = 4
"""Digits of the flows that are written; they are rounded up, and solved as written."""
IDLE = 5e-3
"""Part of a well's largest flow below which it is not worth running."""


def flow_unit(system: str) -> str:
    """The unit that flows are written in."""
    return "gpm" if system == "us" else "m3/h"


def written(flow: float, system: str) -> str:
    """A flow [m³/s] as text with its unit, rounded up to :data:`DIGITS` digits."""
    value = flow * shown("flow", system).factor
    if value <= 0:
        return f"0 {flow_unit(system)}"
    scale = 10.0 ** (DIGITS - 1 - math.floor(math.log10(value)))
    return f"{math.ceil(value * scale - 1e-6) / scale:.{DIGITS}g} {flow_unit(system)}"


def rounded(flows: Floats, most: Floats, system: str) -> Floats:
    """Flows (S, C) [m³/s] as they will be written; those too small to run are 0."""
    found = np.zeros(flows.shape)
    for s, c in np.ndindex(*flows.shape):
        if flows[s, c] > IDLE * most[c]:
            found[s, c] = to_si(written(float(flows[s, c]), system), "m3/s")
    return found


def with_rates(
    tables: Mapping[str, Any],
    number: int,
    candidates: Sequence[Candidate],
    stages: Sequence[str],
    flows: Floats,
) -> dict[str, Any]:
    """The site's tables with flows (S, C) [m³/s] in place of what the candidates were asked."""
    changed: dict[str, Any] = copy.deepcopy(dict(tables))
    drainage = changed["schemes"][number]["drainage"]
    for table in sorted({candidate.table for candidate in candidates}):
        own = [i for i, c in enumerate(candidates) if c.table == table]
        drainage[table].pop("rate", None)
        drainage[table]["rates"] = {
            stage: [float(flows[s, i]) for i in own]
            for s, stage in enumerate(stages)
            if candidates[own[0]].works(s)
        }
    return changed


def sizing_base(
    base: BaseCase, candidates: Sequence[Candidate], stages: Sequence[str], flows: Floats
) -> BaseCase:
    """The base case whose variants are given flows: it takes over the solved one's heads and files.

    Parameters
    ----------
    base : the solved base case of one scheme.
    flows : (S, C) [m³/s] it is named by.
    """
    (name, scheme), *_ = base.schemes.items()
    tables = with_rates(base.tables, scheme.number, candidates, stages, flows)
    site = site_of_tables(base.site.file, tables, base.site.lines)
    site = replace(
        site,
        description=site.description.model_copy(update={"time": None}),
        geometries=dict(site.geometries),
        series=dict(site.series),
        files=dict(site.files),
        lines=dict(site.lines),
    )
    own = site.description.schemes[scheme.number]
    layout = lay_out(site, own, scheme.number, frame=scheme.layout.frame)
    made = BaseScheme(scheme.number, layout, scheme.heads, scheme.patterns)
    return BaseCase(site, tables, base.solver, {name: made}, base.warm, controls=True)


def variant_of(
    scheme: str, number: int, candidates: Sequence[Candidate], stages: Sequence[str], flows: Floats
) -> Variant:
    """The variant in which the candidates are asked for flows (S, C) [m³/s]."""
    return Variant(
        {
            f'schemes.{number}.drainage.{c.table}.rates."{stage}".{c.number}': float(flows[s, i])
            for s, stage in enumerate(stages)
            for i, c in enumerate(candidates)
            if c.works(s)
        },
        scheme,
    )
