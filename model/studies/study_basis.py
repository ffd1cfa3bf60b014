"""What a study's report rests on: its site, inputs, assumptions and solver."""

from __future__ import annotations

from typing import Any

from wellring.model.runs.own_version import own_version
from wellring.model.studies.engine import Study


def basis_of(study: Study, scheme: str) -> dict[str, Any]:
    """Fields of :class:`wellring.postprocess.report.report_page.Page` for one scheme of a study."""
    site, solver = study.base.site, study.base.solver
    return {
        "site": site.name,
        "invented": site.description.site.invented,
        "system": site.description.site.show,
        "assumptions": study.base.schemes[scheme].layout.assumptions,
        "inputs": dict(site.files),
        "sha256": site.sha256,
        "made_with": f"wellring {own_version()}; MODFLOW 6 {solver.version}, SHA-256 of the "
        f"executable {solver.sha256}",
    }
