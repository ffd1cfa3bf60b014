"""Figures, layers and pages that could not be written: named, while all else goes on.

They are drawn from a solve that took minutes or hours. An error in one of them is a fault of this
program or of the machine, never a reason to lose the solve or the other items.
"""

from __future__ import annotations

import contextlib
import traceback
from collections.abc import Iterator
from pathlib import Path


class NotWritten:
    """Collects what could not be written, and why; `items` holds one sentence each."""

    def __init__(self) -> None:
        self.items: list[str] = []

    @contextlib.contextmanager
    def item(self, name: str) -> Iterator[None]:
        """Go on after the block when it fails; a stop by the user passes."""
        try:
            yield
        except Exception as error:
            self.items.append(f"{name} could not be written: {reason(error)}")


def item_of(failed: NotWritten | None, name: str) -> contextlib.AbstractContextManager[None]:
    """The block of one item; where nothing collects failures, an error passes."""
    return contextlib.nullcontext() if failed is None else failed.item(name)


def reason(error: BaseException) -> str:
    """An error in one line: its kind, its text, and the line of this program it came from."""
    frames = traceback.walk_tb(error.__traceback__)
    own = [
        (f, line) for f, line in frames if f.f_globals.get("__name__", "").startswith("wellring.")
    ]
    at = f", {Path(own[-1][0].f_code.co_filename).name} line {own[-1][1]}" if own else ""
    text = " ".join(str(error).split())[:300]
    return f"{type(error).__name__}{at}" + (f": {text}" if text else "")
