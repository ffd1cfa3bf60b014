"""No command makes a finished run poorer, and a figure or page that fails costs nothing else."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wellring.postprocess.run.cell_files import CELL_FILES

GRID = "\n[grid]\ncell = 4\nsublayer = 4\ngrowth = 2.0\nlargest = 60\n"
SCHEME = "six wells"
SOFTER = '[soils.clay]\ncompression = { mv = "2.0e-6 1/Pa" }\n'


@pytest.fixture(scope="module")
def rich(start_folder: Path, tmp_path_factory: pytest.TempPathFactory, wellring: Any) -> Path:
    """The site file of the coarse start site with a run that holds all a run can hold."""
    folder = Path(shutil.copytree(start_folder, tmp_path_factory.mktemp("rich") / "site"))
    with (folder / "site.toml").open("a", encoding="utf-8") as file:
        file.write(GRID)
    assert wellring("run", folder / "site.toml").code == 0
    assert wellring("report", folder / "site.runs" / SCHEME, "--cells", "--no-figures").code == 0
    return folder / "site.toml"


@pytest.fixture
def site(rich: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(rich.parent, tmp_path / "site")) / rich.name


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures take nine tenths of `report`; for tests that look at its page alone."""
    monkeypatch.setattr("wellring.postprocess.figures.draw_figures", lambda *unused: [])


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def names(folder: Path) -> set[str]:
    return {name for name in contents(folder) if not name.startswith("mf6")}


def run_json(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "run.json").read_text(encoding="utf-8"))


def test_compare_takes_a_finished_run_as_it_is(site: Path, wellring: Any) -> None:
    run = site.with_name("site.runs") / SCHEME
    before = contents(run)
    written = {path: path.stat().st_mtime_ns for path in run.rglob("*")}
    done = wellring("compare", site, "--no-figures", "--workers", "1")
    assert done.code == 0, done.err
    assert contents(run) == before
    assert {path: path.stat().st_mtime_ns for path in run.rglob("*")} == written
    told = json.loads((run.parent / "compare" / "compare.json").read_text())
    assert [row["folder"] for row in told["schemes"]] == [SCHEME]
    # Its outage is short of single wells: it does not take the place of one by `outage`.
    assert sorted(p.name for p in run.parent.iterdir()) == [
        "compare", SCHEME, f"{SCHEME}.outage 02 final dig.compare"
    ]  # fmt: skip


def test_compare_of_changed_inputs_leaves_the_run_and_goes_beside_it(
    site: Path, wellring: Any
) -> None:
    run = site.with_name("site.runs") / SCHEME
    before = contents(run)
    text = site.read_text(encoding="utf-8")
    assert "clearance = 0.5" in text
    site.write_text(text.replace("clearance = 0.5", "clearance = 0.4"), encoding="utf-8")
    told = []
    for options in (["--no-figures"], []):
        done = wellring("compare", site, "--no-outages", "--workers", "1", *options)
        assert done.code == 0, done.err
        told.append(json.loads((run.parent / "compare" / "compare.json").read_text()))
    assert contents(run) == before
    beside = run.with_name(f"{SCHEME}.compare")
    assert [row["folder"] for row in told[1]["schemes"]] == [beside.name]
    assert run_json(beside)["inputs"]["sha256"] != run_json(run)["inputs"]["sha256"]
    # The second comparison used the first one's run, and wrote the report that it lacked.
    assert (beside / "report.html").is_file()
    assert told[0]["schemes"] == told[1]["schemes"]


def test_compare_does_not_use_what_another_solver_or_other_soils_gave(
    site: Path, wellring: Any, tmp_path: Path
) -> None:
    from wellring.inputs.read_site import read_site
    from wellring.model.mf6.solver import Solver, find_solver
    from wellring.model.runs.finished_run import usable_run

    run, solver = site.with_name("site.runs") / SCHEME, find_solver()
    found = usable_run([tmp_path, run], read_site(site), SCHEME, solver)
    assert found is not None
    assert found.path == run
    other = Solver(solver.path, solver.version, solver.origin, "0" * 64)
    assert usable_run([run], read_site(site), SCHEME, other) is None
    assert usable_run([run], read_site(site), "another scheme", solver) is None
    softer = tmp_path / "softer.toml"
    softer.write_text(SOFTER)
    wellring("report", run, "--soils", softer, "--no-figures")
    assert usable_run([run], read_site(site), SCHEME, solver) is None


def test_run_again_without_figures_keeps_what_the_run_had(site: Path, wellring: Any) -> None:
    run = site.with_name("site.runs") / SCHEME
    before, sides = names(run), run_json(run)["side_studies"]
    done = wellring("run", site, "--no-figures", "--no-side-studies")
    assert done.code == 0, done.err
    assert names(run) == before
    assert set(CELL_FILES) <= {path.name for path in (run / "layers").iterdir()}
    assert run_json(run)["side_studies"].keys() == sides.keys() == {"coarse", "farther"}


@pytest.mark.parametrize("options", [[], ["--no-figures"], ["--cells", "--no-figures"]])
def test_report_again_keeps_layers_and_cells(options: list[str], site: Path, wellring: Any) -> None:
    run = site.with_name("site.runs") / SCHEME
    before = names(run)
    assert wellring("report", run, *options).code == 0
    assert names(run) == before


def test_a_report_never_shows_other_answers_than_the_folder(
    site: Path, wellring: Any, tmp_path: Path, undrawn: None
) -> None:
    """Other soils without figures: the page that stood there would show the settlement of before.

    Without any change the page is left as it is.
    """
    run = site.with_name("site.runs") / SCHEME
    softer = tmp_path / "softer.toml"
    softer.write_text(SOFTER)
    page = run / "report.html"
    (before, stamp) = page.read_text(encoding="utf-8"), page.stat().st_mtime_ns
    wellring("report", run, "--no-figures")
    assert page.stat().st_mtime_ns == stamp
    wellring("report", run, "--soils", softer, "--no-figures")
    assert page.read_text(encoding="utf-8") != before
    assert "softer.toml" in page.read_text(encoding="utf-8")


def test_outages_of_other_pumps_stand_side_by_side(site: Path, wellring: Any) -> None:
    run = site.with_name("site.runs") / SCHEME
    wells = [well["name"] for well in json.loads((run / "ledger.json").read_text())["wells"]]
    options = ("--no-single-wells", "--for", "1")
    for which in (["--pump", wells[0], "--no-figures"], [], ["--no-figures"]):
        done = wellring("outage", run, *options, *which)
        assert done.code == 0, done.err
    first, second = sorted(run.parent.glob("*.outage *"))
    assert first.name == f"{SCHEME}.outage 02 final dig"
    assert second.name == f"{SCHEME}.outage 02 final dig {wells[0]}"
    assert (first / "report.html").is_file()
    assert not (second / "report.html").exists()


# ---- what fails after the solve -----------------------------------------------------------------


def breaks(*unused: object, **named: object) -> None:
    raise ZeroDivisionError("nothing to divide by")


FAILING = {
    "figure section-along": "wellring.postprocess.figures.section.draw_section",
    "figures of stability": "wellring.postprocess.stability.stability.stabilities",
    "layer settlement": "wellring.postprocess.gis.gis_layers.settlement_layers",
    "rasters": "wellring.postprocess.gis.gis_layers.write_rasters",
}


def test_items_that_fail_are_named_and_cost_nothing_else(
    site: Path, wellring: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = site.with_name("site.runs") / SCHEME
    before = names(run) - {f"layers/{name}" for name in CELL_FILES}
    shutil.rmtree(run)
    with monkeypatch.context() as patched:
        for target in FAILING.values():
            patched.setattr(target, breaks)
        done = wellring("run", site, "--no-side-studies")
    assert done.code == 3
    assert "final dig" in done.out  # the answers are printed all the same
    told = run_json(run)
    assert told["finished"] is True
    page = (run / "report.html").read_text(encoding="utf-8")
    for item in FAILING:
        sentence = f"{item} could not be written: ZeroDivisionError"
        assert sentence in done.err
        assert any(text.startswith(sentence) for text in told["not_written"])
        assert sentence in page
    lost = before - names(run)
    assert lost
    parts = ("section-a", "stability-", ".tif", ".qml")
    assert all(any(part in name for part in parts) for name in lost), lost
    again = wellring("report", run)
    assert again.code == 0, again.err
    assert names(run) == before
    assert "not_written" not in run_json(run)


def test_a_page_that_fails_leaves_the_old_one_only_where_it_is_still_true(
    site: Path, wellring: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, undrawn: None
) -> None:
    run = site.with_name("site.runs") / SCHEME
    before = (run / "report.html").read_bytes()
    monkeypatch.setattr("wellring.postprocess.report.report.write_report", breaks)
    assert wellring("report", run).code == 3
    assert (run / "report.html").read_bytes() == before
    softer = tmp_path / "softer.toml"
    softer.write_text(SOFTER)
    assert wellring("report", run, "--soils", softer).code == 3
    assert not (run / "report.html").exists()


def test_a_solved_run_is_kept_where_its_answers_cannot_be_made(
    site: Path, wellring: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The finished run of before stays; `report` takes the kept one up."""
    run = site.with_name("site.runs") / SCHEME
    before = contents(run)
    with monkeypatch.context() as patched:
        patched.setattr("wellring.postprocess.answers.flooded_ground", breaks)
        done = wellring("run", site, "--no-side-studies", "--no-figures")
    assert done.code == 3
    kept = run.with_name(f"{SCHEME}.not assessed")
    assert "answers could not be made: ZeroDivisionError" in done.err
    assert str(kept) in done.err
    assert contents(run) == before
    assert wellring("report", kept, "--no-figures").code == 0
    assert (kept / "answers.json").is_file()


STUDIES = {
    "compare": "wellring.postprocess.figures.side_by_side.draw_side_by_side",
    "vary": "wellring.model.studies.vary.draw_vary._tornado",
    "outage": "wellring.postprocess.figures.flooding_course.write_flooding_course",
    "check": "wellring.postprocess.figures.section.draw_section",
}
VARIED = """
[vary]
design = "one at a time"
[[vary.parameters]]
path = "soils.sand.kh"
factor = [0.5, 2.0]
"""


@pytest.mark.parametrize("command", STUDIES)
def test_a_figure_of_a_study_that_fails_is_named(
    command: str, site: Path, wellring: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    if command == "vary":
        site.write_text(site.read_text(encoding="utf-8") + VARIED, encoding="utf-8")
    monkeypatch.setattr(STUDIES[command], breaks)
    options = {"compare": ["--no-outages"], "outage": ["--no-single-wells", "--for", "1"]}
    done = wellring(command, site, *options.get(command, []))
    assert done.code == 3, done.err
    assert "Not written: " in done.err
    assert "ZeroDivisionError" in done.err
    assert done.out.strip()
    results = {"compare": "site.runs/compare", "vary": "site.vary",
               "outage": f"site.runs/{SCHEME}.outage 02 final dig"}  # fmt: skip
    if command in results:
        assert (site.parent / results[command] / f"{command}.json").is_file()
        assert (site.parent / results[command] / "report.html").is_file()


def test_no_boring_in_the_modelled_ground(
    tmp_path: Path, plain_site: Callable[..., Path], wellring: Any
) -> None:
    """The only boring stands 5 km away: no figure of borings, and no crash."""
    site = plain_site(tmp_path / "site", formations=(-2.0,), cell=4.0, sublayer=4.0)
    collars = site.with_name("collars.csv")
    head, row = collars.read_text().splitlines()
    name, x, *rest = row.split(",")
    collars.write_text(f"{head}\n{','.join([name, str(float(x) + 5000.0), *rest])}\n")
    assert wellring("check", site).code == 0
    done = wellring("run", site, "--no-side-studies")
    assert done.code in (0, 1), done.err
    (run,) = site.with_name("site.runs").iterdir()
    assert not list((run / "figures").glob("borings*"))
    assert (run / "report.html").is_file()


def test_a_sized_scheme_never_takes_the_place_of_another(
    start_folder: Path, tmp_path: Path
) -> None:
    from wellring.inputs.basics.faults import FaultLog
    from wellring.inputs.basics.toml_text import load_toml
    from wellring.model.studies.sizing.new_scheme import write_site

    site = Path(shutil.copytree(start_folder, tmp_path / "site")) / "site.toml"
    loaded = load_toml(site, FaultLog())
    assert loaded is not None
    scheme = loaded[0]["schemes"][0]
    target = site.with_name("site_sized.toml")
    written = [
        write_site(site, target, {**scheme, "name": name}, "note") for name in ("a", "b", "b", "a")
    ]
    second = site.with_name("site_sized_2.toml")
    assert written == [target, second, second, target]
    assert 'name = "a"' in target.read_text(encoding="utf-8")
    assert 'name = "b"' in second.read_text(encoding="utf-8")
