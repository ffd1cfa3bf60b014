"""Which wellring this is."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def own_version() -> str:
    """The version of wellring, as installed; "unknown" where it runs without being installed."""
    try:
        return version("wellring")
    except PackageNotFoundError:
        return "unknown"
