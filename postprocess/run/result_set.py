"""Results that replace those of before as one set: written aside, moved into place when complete.

A report is drawn for seconds; killed meanwhile it must not leave new answers beside old figures.
The new set is written to a hidden folder, which is renamed when complete; only then its entries
take the places of the old ones. A kill during those few renames is made good by the next report.
"""

from __future__ import annotations

import contextlib
import shutil
import tempfile
import time
from collections.abc import Collection, Iterator
from pathlib import Path

_PARTIAL, _READY, _OLD = ".results.partial-", ".results.ready", ".results.old-"
_FORSAKEN = 3600.0
"""Age [s] from which a set that is not complete is that of a killed report."""


@contextlib.contextmanager
def result_set(folder: Path) -> Iterator[Path]:
    """A folder to write results into, whose entries then replace those of `folder`.

    On an exception what was written is thrown away and `folder` stays as it was.

    Raises
    ------
    OSError : `folder` cannot be written.
    """
    finish_set(folder)
    partial = Path(tempfile.mkdtemp(prefix=_PARTIAL, dir=folder))
    partial.chmod(0o755)
    try:
        yield partial
        finish_set(folder)  # another report may have come first
        partial.rename(folder / _READY)
    except BaseException:
        shutil.rmtree(partial, ignore_errors=True)
        raise
    finish_set(folder)


def keep_others(old: Path, new: Path, names: Collection[str] | None = None) -> None:
    """Carry files of a folder over into the one that is to replace it, those not written anew.

    Parameters
    ----------
    names : of the files to carry over; all where None.
    """
    if not (old.is_dir() and new.is_dir()):
        return
    for file in old.iterdir():
        wanted = names is None or file.name in names
        if wanted and file.is_file() and not (new / file.name).exists():
            shutil.copy2(file, new / file.name)


def finish_set(folder: Path) -> None:
    """Move a complete set into place where a report was killed before it had done so."""
    ready = folder / _READY
    if ready.is_dir():
        for entry in sorted(ready.iterdir()):
            place = folder / entry.name
            if place.is_dir():
                place.rename(Path(tempfile.mkdtemp(prefix=_OLD, dir=folder)) / entry.name)
            entry.replace(place)
        ready.rmdir()
    for old in folder.glob(f"{_OLD}*"):
        shutil.rmtree(old, ignore_errors=True)
    for partial in folder.glob(f"{_PARTIAL}*"):
        with contextlib.suppress(OSError):
            if time.time() - partial.stat().st_mtime > _FORSAKEN:
                shutil.rmtree(partial, ignore_errors=True)
