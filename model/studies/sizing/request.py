"""What is asked of a sizing: which scheme, where its study is kept, which file is written."""

from __future__ import annotations

from pathlib import Path

from wellring.inputs.read_site import Site
from wellring.inputs.site.site import Scheme
from wellring.model.runs.result_folders import safe_name
from wellring.model.runs.run import schemes_of
from wellring.model.studies.sizing.new_scheme import check_target


def one_scheme(site: Site, name: str | None) -> tuple[Scheme, int]:
    """The scheme called `name`, or the only one, and its number in the site file.

    Raises
    ------
    InputFaults : there are several, or none.
    """
    faults = site.fault_log()
    schemes = site.description.schemes
    if not schemes or (name is None and len(schemes) != 1):
        names = ", ".join(f"'{scheme.name}'" for scheme in schemes) or "none in this site file"
        faults.add(site.file.name, "--scheme", name, f"the name of one scheme: {names}")
    faults.raise_if_any()
    ((number, chosen),) = schemes_of(site, name)
    return chosen, number


def study_folder(site_file: Path, name: str, out: str | Path | None) -> Path:
    """Where a sizing study is kept: `out`, or ``<site>.size/<name>`` beside the site file."""
    if out is not None:
        return Path(out)
    return site_file.parent / f"{site_file.stem}.size" / safe_name(name)


def target_of(site_file: Path, write: str | Path | None) -> Path:
    """The file for the new scheme: `write`, or ``<site>_sized.toml``; refused before any solve.

    Raises
    ------
    InputFaults : as :func:`wellring.model.studies.sizing.new_scheme.check_target`.
    """
    target = Path(write) if write else site_file.with_name(f"{site_file.stem}_sized.toml")
    check_target(site_file, target)
    return target
