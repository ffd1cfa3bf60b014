"""`report` of a run whose files were damaged: told file by file, exit code 2, nothing written."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wellring.inputs.basics.faults import InputFaults
from wellring.model.runs.run import Run, report, run
from wellring.model.studies.engine import open_study
from wellring.model.studies.variants import Variant
from wellring.postprocess.run.ledger import FORMAT

# flopy leaves a file open that it could not read.
pytestmark = [
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]

DAMAGES: dict[str, Callable[[Path], object]] = {
    "gone": lambda path: path.unlink(),
    "empty": lambda path: path.write_bytes(b""),
    "cut short": lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size * 6 // 10]),
    "noise": lambda path: path.write_bytes(os.urandom(4000)),
    "noise of the same length": lambda path: path.write_bytes(os.urandom(path.stat().st_size)),
    "another kind of file": lambda path: path.write_text("[1, 2]\n"),
}
IN_STAGE = ("gwf.hds", "gwf.bud", "gwf.dis.grb", "wells.csv")
AT_TOP = ("run.json", "ledger.json", "description.json", "ground.npz")


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.mark.parametrize("name", [*AT_TOP, *IN_STAGE])
def test_one_file(name: str, start_copy: Path, wellring: Any, refused: Any) -> None:
    stage = sorted((start_copy / "mf6").iterdir())[-1]
    path = (stage if name in IN_STAGE else start_copy) / name
    whole = path.read_bytes()
    for damage in DAMAGES.values():
        path.write_bytes(whole)
        damage(path)
        before = contents(start_copy)
        (told,) = refused(wellring("report", str(start_copy), "--no-figures"))
        assert name in told.place or name in ("run.json", "ledger.json")
        assert contents(start_copy) == before


def test_a_run_of_a_newer_wellring(start_copy: Path, wellring: Any, refused: Any) -> None:
    """Whatever else such a folder holds: its ledger need not be one that we can read."""
    newer = FORMAT + 1
    (start_copy / "ledger.json").write_text(f'{{"format": {newer}, "grid": "told elsewhere"}}')
    before = contents(start_copy)
    for command in (["report", start_copy, "--no-figures"], ["outage", start_copy]):
        done = wellring(*command)
        (told,) = refused(done)
        assert told.place == "ledger.json, format"
        assert f"is '{newer}'; expected at most {FORMAT}" in done.err
        assert "Written by a newer wellring: update it, or run the site again" in done.err
        assert contents(start_copy) == before


def test_all_damaged_files_are_told_together(start_copy: Path) -> None:
    for stage in (start_copy / "mf6").iterdir():
        DAMAGES["cut short"](stage / "gwf.bud")
    DAMAGES["empty"](start_copy / "ground.npz")
    with pytest.raises(InputFaults) as found:
        report(start_copy, figures=False)
    assert len(found.value.faults) == 1 + len(list((start_copy / "mf6").iterdir()))


def test_a_listing_is_not_needed(start_copy: Path) -> None:
    for path in start_copy.rglob("*.lst"):
        path.unlink()
    assert report(start_copy, figures=False).answers.answers


@pytest.mark.parametrize("damage", DAMAGES)
def test_answers_are_made_anew_but_needed_of_another_run(
    damage: str, start_run: Run, start_copy: Path, tmp_path: Path
) -> None:
    DAMAGES[damage](start_copy / "answers.json")
    whole = Path(shutil.copytree(start_run.folder, tmp_path / "whole"))
    with pytest.raises(InputFaults, match=r"answers\.json"):
        report(whole, against=start_copy, figures=False)
    report(start_copy, figures=False)
    report(whole, against=start_copy, figures=False)


def test_a_run_in_time(tmp_path: Path, plain_site: Callable[..., Path]) -> None:
    site = plain_site(tmp_path / "site", formations=(-3.0,), cell=6.0, sublayer=5.0)
    text = site.read_text().replace("formation = -3.0", "formation = -3.0\nday = 0\nlasts = 2")
    site.write_text(text + "\n[time]\n")
    (done,) = run(site, figures=False, side_studies=False)
    phase = done.reader.ledger.phases[-1].folder
    for name in ("gwf.hds", "gwf.bud", "budget.csv"):
        path = done.folder / "mf6" / phase / name
        whole = path.read_bytes()
        for damage in DAMAGES.values():
            path.write_bytes(whole)
            damage(path)
            with pytest.raises(InputFaults, match=f"mf6/{phase}/{name}"):
                report(done.folder, figures=False)
        path.write_bytes(whole)
    report(done.folder, figures=False)


@pytest.mark.parametrize("damage", [name for name in DAMAGES if name != "gone"])
def test_damaged_parts_of_a_study_are_solved_again(
    damage: str, tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    site = plain_site(tmp_path / "site", cell=6.0, sublayer=5.0)
    study = open_study(site, tmp_path / "study", workers=1)
    variants = [Variant({"soils.sand.kh": k}, "scheme") for k in (1e-4, 2e-4)]
    variants = [Variant(v.overrides, next(iter(study.base.schemes))) for v in variants]
    study.solve(variants)
    before = [outcome.answers for outcome in study.outcomes(variants)]
    for name in ("variant.json", "answers.json", "fields.npz"):
        DAMAGES[damage](study.store.path(variants[0]) / name)
        assert study.solve(variants).solved == 1
        assert [outcome.answers for outcome in study.outcomes(variants)] == before
        assert study.store.fields(variants[0])
    (heads,) = (tmp_path / "study" / "base").glob("*/heads.npz")
    DAMAGES[damage](heads)
    again = open_study(site, tmp_path / "study", workers=1)
    assert again.solve(variants).solved == 0
