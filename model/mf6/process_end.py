"""Waiting for a child process without sleeping past its end."""

from __future__ import annotations

import os
import select
import subprocess


def ended(process: subprocess.Popen[bytes], seconds: float) -> bool:
    """Whether a process ends within `seconds`; returns as soon as it does.

    The standard library looks for the end of a child every 50 ms: of ten short solver runs a
    variant that costs a quarter of a second, and a study a twentieth of its throughput. Where the
    system tells of a process as of a file (Linux), this sleeps until it is told.
    """
    try:
        handle = os.pidfd_open(process.pid)
    except (AttributeError, OSError):  # another system, or an old kernel
        return _looked_for(process, seconds)
    try:
        waited = select.poll()
        waited.register(handle, select.POLLIN)
        waited.poll(seconds * 1000.0)
    finally:
        os.close(handle)
    return process.poll() is not None


def _looked_for(process: subprocess.Popen[bytes], seconds: float) -> bool:
    try:
        process.wait(timeout=seconds)
    except subprocess.TimeoutExpired:
        return False
    return True
