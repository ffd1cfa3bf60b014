"""The folders that results are written to: a hidden one while at work, the final one when done.

A run writes into ``.<name>.partial-<process>`` beside its final folder and is renamed at the end.
Whatever kills it, nothing that looks finished is left; the next run clears its leftovers away.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import time
from pathlib import Path

from wellring.inputs.basics.faults import FaultLog, InputFaults

_RESERVED = re.compile(r"(?i)con|prn|aux|nul|com\d|lpt\d")


def safe_name(name: str) -> str:
    """A folder name for a scheme's name, readable and safe on every system."""
    safe = re.sub(r"[^\w\- ]+", "_", name, flags=re.UNICODE).strip(" ._")[:60].strip()
    if not safe or _RESERVED.fullmatch(safe):
        return f"scheme {safe}".strip()
    return safe


def fresh_folder(runs: Path, name: str) -> Path:
    """An empty hidden folder beside the final one; leftovers of dead runs are cleared away.

    Raises
    ------
    InputFaults : the folder cannot be made.
    """
    try:
        runs.mkdir(parents=True, exist_ok=True)
        _clear_leftovers(runs, name)
        partial = runs / f".{name}.partial-{os.getpid()}"
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir()
    except OSError as error:
        faults = FaultLog()
        faults.add(
            str(runs),
            "the output folder",
            None,
            "a folder that can be written",
            f"{error.strerror}. Give another with --out.",
        )
        raise InputFaults(faults.faults) from None
    return partial


def put_in_place(partial: Path, final: Path) -> None:
    """Rename the finished folder to its name; an older run there is replaced, never mixed."""
    old = final.with_name(f".{final.name}.old-{os.getpid()}")
    for attempt in range(50):
        try:
            if final.exists():
                final.rename(old)
            partial.rename(final)
            break
        except OSError:  # another run of the same scheme is just putting its own in place
            if attempt == 49 or not partial.exists():
                raise
            time.sleep(0.05)
        finally:
            if final.exists():
                shutil.rmtree(old, ignore_errors=True)


def keep_failed(partial: Path, kept: Path) -> Path:
    """Keep what a failed run wrote under a name that says so; replaces that of an earlier one."""
    shutil.rmtree(kept, ignore_errors=True)
    put_in_place(partial, kept)
    return kept


def _clear_leftovers(runs: Path, name: str) -> None:
    """Remove what dead runs left; a result set aside by a run that died then comes back."""
    final = runs / name
    for kind in ("old", "partial"):
        for left in runs.glob(f".{_escaped(name)}.{kind}-*"):
            owner = left.name.rpartition("-")[2]
            if not owner.isdigit() or process_alive(int(owner)):
                continue
            if kind == "old" and not final.exists():
                left.rename(final)
            else:
                shutil.rmtree(left, ignore_errors=True)


def _escaped(name: str) -> str:
    return re.sub(r"([\[\]*?])", r"[\1]", name)


def process_alive(process: int) -> bool:
    """Whether a process of this number runs on this machine."""
    if process == os.getpid():
        return False
    if sys.platform == "win32":
        import ctypes

        handle = ctypes.windll.kernel32.OpenProcess(0x1000, False, process)
        if not handle:
            return False
        code = ctypes.c_ulong()
        ctypes.windll.kernel32.GetExitCodeProcess(handle, ctypes.byref(code))
        ctypes.windll.kernel32.CloseHandle(handle)
        return code.value == 259  # STILL_ACTIVE
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True
