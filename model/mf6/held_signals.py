"""Hold back the stop signals while a process is started or ended, so that none is left running."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def held_signals() -> Iterator[None]:
    """Ctrl-C and a polite kill that come within wait until the end of the block.

    A signal that raises inside ``subprocess.Popen`` would leave the new process running with
    nobody who knows it. Only handlers written in Python are held back, and only in the main
    thread: no other thread is ever interrupted by a signal. Masking the signals instead would be
    inherited by the new process.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[tuple[int, FrameType | None]] = []
    usual = {
        number: handler
        for number in (signal.SIGINT, signal.SIGTERM)
        if callable(handler := signal.getsignal(number))
    }
    for number in usual:
        signal.signal(number, lambda *what: came.append(what))
    try:
        yield
    finally:
        for number, handler in usual.items():
            signal.signal(number, handler)
        if came:
            usual[signal.Signals(came[0][0])](*came[0])
