"""Commands in process groups of their own, which tests stop and look after."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from typing import Any


def begin_command(
    arguments: Sequence[str], solver: Any, stdout: int = subprocess.PIPE
) -> subprocess.Popen[str]:
    """Start `wellring` with these arguments and that solver."""
    return subprocess.Popen(
        [
            *(sys.executable, "-m", "wellring.model.commands.cli"),
            *arguments,
            *("--solver", str(solver.path)),
        ],
        stdout=stdout,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,
        preexec_fn=_hear_interrupts,
    )


def _hear_interrupts() -> None:
    """Tests begun in the background inherit that Ctrl-C is not heard; a user hears it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def group_lives(process: subprocess.Popen[str]) -> bool:
    """Whether anything started by a process is still there."""
    try:
        os.killpg(process.pid, 0)
    except ProcessLookupError:
        return False
    return True
