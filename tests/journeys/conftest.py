"""The command line as a user drives it: a site that works, changed in one thing at a time."""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from wellring.model.commands import cli
from wellring.model.mf6.solver import Solver, find_solver
from wellring.model.start_site import start_site


@dataclass(frozen=True)
class Done:
    """What a command returned and printed."""

    code: int
    out: str
    err: str


@dataclass
class SiteFolder:
    """A copy of the start site to be changed."""

    path: Path

    @property
    def file(self) -> Path:
        return self.path / "site.toml"

    def change(self, *changes: tuple[str, str], file: str = "site.toml") -> None:
        """Replace the first `old` by `new` in one of its files; an empty `old` appends."""
        target = self.path / file
        text = target.read_text(encoding="utf-8")
        for old, new in changes:
            assert old in text, f"{old!r} is not in {file}"
            text = text.replace(old, new, 1) if old else f"{text}\n{new}\n"
        target.write_text(text, encoding="utf-8")

    def write(self, file: str, content: str | bytes) -> None:
        data = content.encode() if isinstance(content, str) else content
        (self.path / file).write_bytes(data)


Command = Callable[..., Done]


@pytest.fixture(scope="session")
def solver() -> Solver:
    """The real MODFLOW 6 of this machine."""
    return find_solver()


@pytest.fixture(scope="session")
def wellring() -> Command:
    """Run a command in this process; a traceback would be raised here and fail the test."""

    def run(*arguments: str | Path) -> Done:
        out, err = io.StringIO(), io.StringIO()
        code = 0
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                cli.app([str(argument) for argument in arguments], prog_name="wellring")
            except SystemExit as end:
                code = int(end.code or 0)
        return Done(code, out.getvalue(), err.getvalue())

    return run


@pytest.fixture(scope="session")
def wellring_process(solver: Solver) -> Command:
    """Run a command as a process of its own, as from a shell."""

    def run(*arguments: str | Path, cwd: Path | None = None, **environment: str) -> Done:
        done = subprocess.run(
            process_arguments(arguments),
            cwd=cwd,
            env={**os.environ, "WELLRING_MF6": str(solver.path), **environment},
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=300,
            check=False,
        )
        return Done(done.returncode, done.stdout, done.stderr)

    return run


def process_arguments(arguments: Sequence[str | Path]) -> list[str]:
    return [sys.executable, "-m", "wellring.model.commands.cli", *(str(item) for item in arguments)]


@pytest.fixture(scope="session")
def start_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The start site as `wellring start` makes it; not to be changed."""
    folder = tmp_path_factory.mktemp("start") / "site"
    start_site(folder)
    return folder


@pytest.fixture
def site(start_folder: Path, tmp_path: Path) -> SiteFolder:
    """A copy of the start site for one test."""
    shutil.copytree(start_folder, tmp_path / "site")
    return SiteFolder(tmp_path / "site")


@dataclass(frozen=True)
class Told:
    """One fault as printed: the file, its line, the place, the value, and what was said of it."""

    file: str
    line: int | None
    place: str
    value: str
    said: str


_FAULT = re.compile(
    r"^  - (?P<file>.*?)(?::(?P<line>\d+))?: (?P<place>[^;]*?)"
    r"(?: is '(?P<value>.*?)')?; expected (?P<said>.*)$"
)


@pytest.fixture(scope="session")
def refused() -> Callable[[Done], list[Told]]:
    """The faults of a command that refused its input, in the one form they all have."""

    def read(done: Done) -> list[Told]:
        assert done.code == 2, f"exit code {done.code}: {done.err or done.out}"
        assert done.out == ""
        assert "Traceback" not in done.err
        head, *lines = done.err.rstrip("\n").split("\n")
        count = len(lines)
        assert head == ("1 fault in the input" if count == 1 else f"{count} faults in the input")
        found = []
        for line in lines:
            match = _FAULT.match(line)
            assert match, f"not in the form of a fault: {line}"
            number = match["line"]
            told = Told(
                match["file"],
                int(number) if number else None,
                match["place"],
                match["value"] or "",
                match["said"],
            )
            assert not re.search(r"Input should|pydantic|tuple|instance of|lambda|<[a-z]", line)
            found.append(told)
        return found

    return read
