"""Files that a site file names: found beside it, of a format that can be read, or a fault."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from wellring.inputs.basics.faults import FaultLog, nearest


def is_file(path: Path) -> bool:
    """Whether there is such a file; False too for names no file can have."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def find_file(
    ref: str,
    folder: Path,
    suffixes: Sequence[str],
    expected: str,
    faults: FaultLog,
    site_file: str | Path,
    place: str,
    shown: str | None = None,
) -> Path | None:
    """The path of the file `ref` relative to `folder`, or None and a fault.

    Parameters
    ----------
    suffixes : lower-case suffixes that can be read, with their dots; in a file any case.
    expected : what they are, for the message.
    shown : `ref` as the user wrote it, where that is longer.
    """
    path = folder / ref
    shown = ref if shown is None else shown
    if not is_file(path):
        try:
            beside = [
                entry.name for entry in path.parent.iterdir() if entry.suffix.lower() in suffixes
            ]
        except (OSError, ValueError):
            beside = []
        close = nearest(path.name, beside[:50])
        remedy = "There is no such file"
        faults.add(site_file, place, shown, expected, f"{remedy}. {close}" if close else remedy)
        return None
    if path.suffix.lower() not in suffixes:
        faults.add(site_file, place, shown, expected, "Export it to one of these")
        return None
    return path
