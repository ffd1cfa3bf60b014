"""Child processes that end with this one, however it ends.

A solver whose parent was killed would work on for minutes, on files that nobody reads. On POSIX a
shell waits at a pipe from this process; the pipe closes when the process ends, by SIGKILL too, and
the shell then kills the children that it was last given. On Windows a job object does the same.

Linux's parent-death signal is not used. It is sent when the *thread* that started the child ends,
and to ask for it takes code between fork and exec, which is not safe beside other threads, or a
launcher, whose start would be added to each of thousands of solver runs.
"""

from __future__ import annotations

import atexit
import contextlib
import multiprocessing
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import IO, Any

_KILL_LAST = """
trap '' HUP INT TERM
cd /
last=
while read -r line; do last=$line; done
[ -z "$last" ] || kill -KILL $last
"""


def start_child(
    command: Sequence[str], cwd: Path, stdout: int | IO[bytes]
) -> subprocess.Popen[bytes]:
    """Start a process that does not outlive this one.

    Parameters
    ----------
    command : the program and its arguments.
    cwd : the folder it works in.
    stdout : where both its outputs go.

    Returns
    -------
    The process; it is watched until :meth:`~subprocess.Popen.poll` or `wait` has seen its end.

    Raises
    ------
    OSError : it cannot be started.
    """
    process = _Child(command, cwd=cwd, stdout=stdout, stderr=subprocess.STDOUT)
    _GUARD.add(process.pid)
    return process


def end_with_parent() -> None:
    """In a worker process of multiprocessing: end it, and its children, when its parent ends.

    A worker waits for tasks at a pipe that it holds open itself, so it does not see its parent's
    end there.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


class _Child(subprocess.Popen[bytes]):
    """A process that is no longer watched once its end was seen."""

    def poll(self) -> int | None:
        return self._seen(super().poll())

    def wait(self, timeout: float | None = None) -> int:
        code = super().wait(timeout)
        self._seen(code)
        return code

    def _seen(self, code: int | None) -> int | None:
        if code is not None:
            _GUARD.remove(self.pid)
        return code


class _Shell:
    """Children by number, known to a shell that kills them when this process has ended."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.living: set[int] = set()
        self.shell = self.pipe = 0

    def add(self, child: int) -> None:
        with self.lock:
            self.living.add(child)
            self._send()

    def remove(self, child: int) -> None:
        with self.lock:
            if child in self.living:
                self.living.remove(child)
                self._send()

    def _send(self) -> None:
        """Give the shell all that are living; less than a pipe takes in one piece."""
        line = " ".join(map(str, sorted(self.living))) + "\n"
        # A shell that was killed is replaced; without one the work itself still goes on.
        for _ in range(2):
            with contextlib.suppress(OSError):
                if not self.shell:
                    self._start()
                os.write(self.pipe, line.encode())
                return
            self.close()

    def _start(self) -> None:
        read, self.pipe = os.pipe()
        try:
            self.shell = os.posix_spawn(
                "/bin/sh",
                ["/bin/sh", "-c", _KILL_LAST],
                {},
                file_actions=[
                    (os.POSIX_SPAWN_DUP2, read, 0),
                    (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0),
                    (os.POSIX_SPAWN_DUP2, 1, 2),
                ],
            )
        finally:
            os.close(read)

    def close(self) -> None:
        """Let the shell go, which kills what is still there."""
        shell, pipe = self.shell, self.pipe
        self.shell = self.pipe = 0
        if pipe:
            os.close(pipe)
        if shell:
            with contextlib.suppress(ChildProcessError):
                os.waitpid(shell, 0)

    def forked(self) -> None:
        """In a fork of this process: the children are the parent's, and so is the pipe."""
        if self.pipe:
            os.close(self.pipe)
        self.__init__()  # type: ignore[misc]


class _Job:
    """A job object of Windows, whose processes end when this process lets go of it."""

    def __init__(self) -> None:
        self.job: Any = None

    def add(self, child: int) -> None:
        if sys.platform == "win32":
            from wellring.model.mf6.windows_job import assign, new_job

            if self.job is None:
                self.job = new_job()
            assign(self.job, child)

    def remove(self, child: int) -> None:
        """The system keeps count itself."""


_GUARD: _Shell | _Job
if sys.platform == "win32":
    _GUARD = _Job()
else:
    _GUARD = _Shell()
    atexit.register(_GUARD.close)
    os.register_at_fork(after_in_child=_GUARD.forked)
