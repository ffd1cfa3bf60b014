"""A finished run reviewed: hashes, numbers solved again, and what differs from another run."""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wellring.model.mf6.solver import Solver
from wellring.model.runs.review import Review, _alike_text, site_folder, verify
from wellring.model.runs.run import Run, run
from wellring.postprocess.answers import make_answers
from wellring.postprocess.comparison.run_difference import difference
from wellring.postprocess.report.report import write_report
from wellring.postprocess.report.report_review import review_sections
from wellring.postprocess.run.run_folder import ANSWERS_FILE, DESCRIPTION_FILE, RUN_FILE, RunFolder
from wellring.postprocess.stage_results import read_results


def verdicts(review) -> dict[str, bool | None]:
    return {what: holds for what, holds, _ in review.checks}


def test_a_run_reproduces(start_run: Run) -> None:
    before = sorted(path.name for path in start_run.folder.rglob("*"))
    review = verify(start_run.reader)
    print(review.text)
    found = verdicts(review)
    assert found["input site.toml"] is True
    assert found["answers from the stored heads"] is True
    assert found["solver run again"] is True
    assert found["answers solved again"] is True
    assert sum(what.startswith("heads, ") for what in found) == len(start_run.reader.ledger.stages)
    assert review.reproduces
    assert "The numbers reproduce." in review.text
    assert "5 mm" in review.text
    assert sorted(path.name for path in start_run.folder.rglob("*")) == before


def test_changed_inputs_and_answers_are_found(start_run: Run, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(start_run.folder, tmp_path / "site" / "site.runs" / "run"))
    made_from = site_folder(start_run.reader)
    assert made_from is not None
    for name in start_run.reader.provenance["inputs"]["files"]:
        shutil.copy(made_from / name, tmp_path / "site" / name)
    provenance = json.loads((folder / RUN_FILE).read_text(encoding="utf-8"))
    provenance["inputs"].pop("folder")
    (folder / RUN_FILE).write_text(json.dumps(provenance), encoding="utf-8")
    layers = tmp_path / "site" / "layers.csv"
    layers.write_text(layers.read_text() + "\n")
    (tmp_path / "site" / "collars.csv").unlink()
    stored = json.loads((folder / ANSWERS_FILE).read_text(encoding="utf-8"))
    name = next(name for name in stored if name.endswith(".inflow_total"))
    stored[name]["value"] *= 1.01
    (folder / ANSWERS_FILE).write_text(json.dumps(stored), encoding="utf-8")
    review = verify(RunFolder(folder))
    found = verdicts(review)
    assert found["input layers.csv"] is False
    assert found["input collars.csv"] is None
    assert found["input site.toml"] is True
    assert found["answers from the stored heads"] is False
    assert found["answers solved again"] is False
    assert not review.reproduces
    assert "all water to pump" in review.text


def test_other_ground_does_not_reproduce(start_copy: Path) -> None:
    """A conductivity changed in the solver's own input, after the run."""
    stage = RunFolder(start_copy).ledger.stages[-1]
    files = sorted((start_copy / "mf6" / stage.folder).glob("kh.bin"))
    for file in files:
        raw = bytearray(file.read_bytes())
        values = np.frombuffer(raw, "<f8", offset=52).copy()
        raw[52:] = (values * 1.5).tobytes()
        file.write_bytes(bytes(raw))
    review = verify(RunFolder(start_copy))
    found = verdicts(review)
    assert found["answers from the stored heads"] is True
    assert found["answers solved again"] is False
    assert found[f"heads, {stage.name}"] is False


def test_difference_in_words(start_run: Run, start_copy: Path) -> None:
    same = difference(start_run.reader, RunFolder(start_copy))
    assert same.inputs == []
    assert same.answers[1] == []
    description = json.loads((start_copy / DESCRIPTION_FILE).read_text(encoding="utf-8"))
    description["soils"]["sand"]["kh"] = 3e-4
    description["schemes"][0]["drainage"][0]["hold"] = -3.5
    del description["water"]["source_distance"]
    (start_copy / DESCRIPTION_FILE).write_text(json.dumps(description), encoding="utf-8")
    stored = json.loads((start_copy / ANSWERS_FILE).read_text(encoding="utf-8"))
    name = next(name for name in stored if name.endswith(".inflow_total"))
    stored[name]["value"] /= 2
    (start_copy / ANSWERS_FILE).write_text(json.dumps(stored), encoding="utf-8")
    found = difference(start_run.reader, RunFolder(start_copy))
    assert "soils.sand.kh is 0.0002 instead of 0.0003" in found.inputs
    assert any(
        re.fullmatch(r"scheme\.drainage\..+\.hold is -4.0 instead of -3.5", s) for s in found.inputs
    )
    assert any(s.startswith("water.source_distance is 300") for s in found.inputs)
    assert len(found.inputs) == 3
    (row,) = found.answers[1]
    assert row[3].endswith("(+100.0%)")
    assert "all water to pump" in found.text


def test_reviews_are_told_and_written(start_run: Run, start_copy: Path, wellring) -> None:
    quick = ("--against", str(start_run.folder), "--no-figures")
    done = wellring("report", str(start_copy), *quick)
    assert done.code == 0, done.err
    assert "Compared with" in done.out
    review = Review([("heads", True, "0 mm"), ("input x", False, "changed"), ("y", None, "gone")])
    run = RunFolder(start_copy)
    sections = review_sections(review, difference(run, start_run.reader))
    path = write_report(run, make_answers(run, read_results(run)), extra=sections)
    text = path.read_text(encoding="utf-8")
    for words in ("Beside another run", "Review", "Something fails", "not checked: gone"):
        assert words in text
    missing = wellring(
        "report", str(start_copy), "--against", str(start_copy.parent), "--no-figures"
    )
    assert missing.code == 2
    assert "Traceback" not in missing.err


def test_a_solver_that_is_none_is_refused(start_run: Run, wellring) -> None:
    done = wellring(
        "report", str(start_run.folder), "--verify", "--solver", __file__, "--no-figures"
    )
    assert done.code == 3
    assert "MODFLOW 6" in done.err


@pytest.mark.parametrize("word", ["--verify", "--against"])
def test_help_tells(word: str, wellring) -> None:
    assert word in wellring("report", "--help").out


NEIGHBOURS = """
[time]
pumping_starts = -2

[[neighbours]]
file = "school.geojson"
kind = "building"
name = "school"
limit = { settlement = "5 mm" }
"""


def test_a_run_in_time_with_neighbours_reproduces(
    tmp_path: Path,
    plain_site: Callable[..., Path],
    beside_pit: Callable[..., None],
    solver: Solver,
) -> None:
    wells = {"ring": {"offset": 2.0, "count": 4}, "screen": [-11.0, -3.0], "diameter": "400 mm"}
    site = plain_site(
        tmp_path / "site", formations=(-3.0,), cell=5.0, sublayer=3.0,
        drainage=[{**wells, "hold": -6.0}],
    )  # fmt: skip
    text = site.read_text().replace("formation = -3.0", "formation = -3.0\nday = 0\nlasts = 4")
    text = text.replace("sy = 0.2", 'sy = 0.2\ncompression = { e_oed = "20 MPa" }')
    site.write_text(text + NEIGHBOURS, encoding="utf-8")
    beside_pit(site, "school.geojson", [(6, 0), (14, 0), (14, 6)])
    (done,) = run(site, solver=solver.path, figures=False, side_studies=False)
    assert "neighbours.worst" in done.answers.answers
    phases = done.reader.ledger.phases
    assert len(phases) >= 2
    review = verify(done.reader, solver.path)
    print(review.text)
    found = verdicts(review)
    assert review.reproduces
    for phase in phases:
        assert found[f"heads, end of {phase.name}"] is True
    # A stored head that was tampered with in one of the phases is found.
    heads = done.folder / "mf6" / phases[-1].folder / "gwf.hds"
    content = bytearray(heads.read_bytes())
    content[-8 * 50 :] = np.full(50, 1.0).tobytes()
    heads.write_bytes(bytes(content))
    again = verdicts(verify(RunFolder(done.folder), solver.path))
    assert again[f"heads, end of {phases[-1].name}"] is False


def test_sentences_are_alike_but_for_the_last_digit() -> None:
    assert _alike_text("drawdown 2.49 m of 0.30 m", "drawdown 2.50 m of 0.30 m")
    assert not _alike_text("drawdown 2.49 m of 0.30 m", "drawdown 2.60 m of 0.30 m")
    assert not _alike_text("mill: 2.49 m", "fen: 2.49 m")
