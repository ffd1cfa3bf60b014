"""Commands that cannot be done as typed: the message says why, the exit code is 2 or 3."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from wellring.model.runs.result_folders import safe_name


def test_no_such_site_file(site: Any, wellring: Any, refused: Any) -> None:
    (told,) = refused(wellring("check", site.path / "none.toml"))
    assert told.file == str(site.path / "none.toml")
    assert "a site file to be there" in told.said


def test_folder_for_a_site_file(site: Any, wellring: Any, refused: Any) -> None:
    (told,) = refused(wellring("run", site.path))
    assert told.file == str(site.path)
    assert "Is a directory" in told.said


@pytest.mark.parametrize(
    ("name", "remedy"),
    [("six wels", "Did you mean 'six wells'?"), ("none", "Known here: six wells")],
)
@pytest.mark.parametrize("command", ["check", "run"])
def test_unknown_scheme(
    command: str, name: str, remedy: str, site: Any, wellring: Any, refused: Any
) -> None:
    (told,) = refused(wellring(command, site.file, "--scheme", name))
    assert (told.place, told.value) == ("--scheme", name)
    assert remedy in told.said


@pytest.mark.parametrize("where", ["collars.csv", "collars.csv/deeper"])
def test_results_cannot_be_written(where: str, site: Any, wellring: Any, refused: Any) -> None:
    out = site.path / where
    (told,) = refused(wellring("run", site.file, "--out", out, "--no-figures"))
    assert (told.file, told.place) == (str(out), "the output folder")
    assert "Give another with --out" in told.said


@pytest.mark.parametrize("where", ["", "collars.csv", "collars.csv/deeper"])
def test_start_writes_over_nothing(where: str, site: Any, wellring: Any, refused: Any) -> None:
    before = {item.name: item.read_bytes() for item in site.path.iterdir()}
    (told,) = refused(wellring("start", site.path / where))
    assert told.place == "the folder"
    assert {item.name: item.read_bytes() for item in site.path.iterdir()} == before


def test_report_of_no_run(site: Any, wellring: Any, refused: Any) -> None:
    for folder in (site.path, site.file, site.path / "none"):
        (told,) = refused(wellring("report", folder))
        assert (told.file, told.place) == (str(folder), "run.json")
        assert "a finished run folder" in told.said


def test_report_of_an_unfinished_run(tmp_path: Path, wellring: Any, refused: Any) -> None:
    for content in ("{", "[]", "{}", '{"finished": false}', '{"finished": "yes"}'):
        (tmp_path / "run.json").write_text(content)
        (told,) = refused(wellring("report", tmp_path))
        assert "a finished run folder" in told.said


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run"], "Missing argument 'SITE'"),
        (["run", "a", "b"], "unexpected extra argument"),
        (["run", "a", "--fast"], "--fast"),
        (["run", "a", "--scheme"], "--scheme"),
        (["runn", "a"], "No such command 'runn'"),
        (["report"], "Missing argument 'RUN'"),
    ],
)
def test_usage(arguments: list[str], words: str, wellring: Any) -> None:
    done = wellring(*arguments)
    assert done.code == 2
    assert done.out == ""
    assert words in done.err


def test_solver_that_is_none(site: Any, wellring: Any) -> None:
    for command in (["run", site.file], ["solver"]):
        for solver, words in ((site.path / "none", "does not exist"), (site.path, "is a folder")):
            done = wellring(*command, "--solver", solver)
            assert done.code == 3
            assert done.out == ""
            assert f"{solver} (given with --solver) {words}" in done.err


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("six wells", "six wells"),
        ("Brunnen, Süd", "Brunnen_ Süd"),
        ("../../etc", "etc"),
        ("...", "scheme"),
        ("con", "scheme con"),
        ("a" * 80, "a" * 60),
        (" a/b\\c:d ", "a_b_c_d"),
    ],
)
def test_scheme_names_make_safe_folders(name: str, safe: str) -> None:
    assert safe_name(name) == safe


# ---- the same through a process of its own, as a shell sees it ----


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["check", "none.toml"], "none.toml: the file; expected a site file to be there"),
        (["run", "."], "Is a directory"),
        (["check", "site.toml"], "site.toml:95: schemes.0.drainage.0.ring.count is '0'; expected"),
        (["run", "site.toml", "--fast"], "No such option"),
        (["report", "."], "run.json; expected a finished run folder"),
    ],
)
def test_as_a_process(arguments: list[str], words: str, site: Any, wellring_process: Any) -> None:
    site.change(("count = 6", "count = 0"))
    done = wellring_process(*arguments, cwd=site.path)
    assert done.code == 2
    assert done.out == ""
    assert words in done.err
    assert "Traceback" not in done.err


def test_console_that_cannot_show_every_letter(site: Any, wellring_process: Any) -> None:
    site.change(('"six wells"', '"north → south"'))
    done = wellring_process("check", site.file, "--scheme", "x", PYTHONIOENCODING="cp1252")
    assert done.code == 2
    assert "Known here: north ? south" in done.err
