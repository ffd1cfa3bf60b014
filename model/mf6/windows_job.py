"""Job objects of Windows: processes that the system ends when the job's last handle closes.

Names and layouts are those of winnt.h and jobapi2.h.
"""

from __future__ import annotations

import ctypes
import sys
from typing import Any

_KILL_ON_JOB_CLOSE = 0x2000
_EXTENDED_LIMIT_INFORMATION = 9
_SET_QUOTA_AND_TERMINATE = 0x0100 | 0x0001


class _BasicLimits(ctypes.Structure):
    _fields_ = (
        ("PerProcessUserTimeLimit", ctypes.c_int64),
        ("PerJobUserTimeLimit", ctypes.c_int64),
        ("LimitFlags", ctypes.c_uint32),
        ("MinimumWorkingSetSize", ctypes.c_size_t),
        ("MaximumWorkingSetSize", ctypes.c_size_t),
        ("ActiveProcessLimit", ctypes.c_uint32),
        ("Affinity", ctypes.c_size_t),
        ("PriorityClass", ctypes.c_uint32),
        ("SchedulingClass", ctypes.c_uint32),
    )


class _ExtendedLimits(ctypes.Structure):
    _fields_ = (
        ("BasicLimitInformation", _BasicLimits),
        ("IoInfo", ctypes.c_uint64 * 6),
        ("ProcessMemoryLimit", ctypes.c_size_t),
        ("JobMemoryLimit", ctypes.c_size_t),
        ("PeakProcessMemoryUsed", ctypes.c_size_t),
        ("PeakJobMemoryUsed", ctypes.c_size_t),
    )


def new_job() -> Any:
    """The handle of a job whose processes end when this process ends."""
    kernel = _kernel()
    limits = _ExtendedLimits()
    limits.BasicLimitInformation.LimitFlags = _KILL_ON_JOB_CLOSE
    job = kernel.CreateJobObjectW(None, None)
    kernel.SetInformationJobObject(
        job, _EXTENDED_LIMIT_INFORMATION, ctypes.byref(limits), ctypes.sizeof(limits)
    )
    return job


def assign(job: Any, process: int) -> None:
    """Put the process of this number into a job; one that has ended already is let be."""
    kernel = _kernel()
    handle = kernel.OpenProcess(_SET_QUOTA_AND_TERMINATE, False, process)
    if handle:
        kernel.AssignProcessToJobObject(job, handle)
        kernel.CloseHandle(handle)


def _kernel() -> Any:
    if sys.platform != "win32":
        raise OSError("only Windows has job objects")
    kernel = ctypes.WinDLL("kernel32")
    handle = ctypes.c_void_p
    for function, result, arguments in (
        (kernel.CreateJobObjectW, handle, [handle, ctypes.c_wchar_p]),
        (kernel.SetInformationJobObject, ctypes.c_int,
         [handle, ctypes.c_int, handle, ctypes.c_uint32]),
        (kernel.OpenProcess, handle, [ctypes.c_uint32, ctypes.c_int, ctypes.c_uint32]),
        (kernel.AssignProcessToJobObject, ctypes.c_int, [handle, handle]),
        (kernel.CloseHandle, ctypes.c_int, [handle]),
    ):  # fmt: skip
        function.restype, function.argtypes = result, arguments
    return kernel
