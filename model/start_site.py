"""A small working site to start from."""

from __future__ import annotations

import shutil
from pathlib import Path

from wellring.inputs.basics.faults import FaultLog


def start_site(folder: Path) -> Path:
    """Copy the small site into `folder` and return its site file.

    Raises
    ------
    InputFaults : the folder exists and is not empty, or cannot be made.
    """
    source = Path(__file__).parent / "start"
    faults = FaultLog()
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            faults.add(
                str(folder),
                "the folder",
                None,
                "a folder that is new or empty",
                "Name another; nothing is written over.",
            )
        else:
            folder.mkdir(parents=True, exist_ok=True)
            for item in sorted(source.iterdir()):
                shutil.copyfile(item, folder / item.name)
    except OSError as error:
        faults.add(
            str(folder), "the folder", None, "a folder that can be written", f"{error.strerror}."
        )
    faults.raise_if_any()
    return folder / "site.toml"
