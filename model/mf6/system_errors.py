"""A full disk is told as such, whichever library met it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def system_errors() -> Iterator[None]:
    """Raise the system's own error where a library has wrapped it in one of its own.

    Raises
    ------
    OSError : as the system gave it. Other errors pass as they are.
    """
    try:
        yield
    except Exception as error:
        cause: BaseException | None = error
        while cause is not None and not isinstance(cause, OSError):
            cause = cause.__cause__ or cause.__context__
        if cause is None:
            raise
        if cause.errno is None:  # numpy says how much it wrote, not why no more
            raise OSError(f"the disk may be full ({cause})") from None
        raise cause from None
