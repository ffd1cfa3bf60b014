"""Sites whose files are spoiled at random: each is taken, or refused in words, and nothing else.

Three hundred in every test run, five thousand with ``pytest -m slow``. What is read is what
`wellring check` reads: the site file with all it names, laid out on the grid.
"""

from __future__ import annotations

import contextlib
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import mutate
import mutate_data
import pytest
import rich_site
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.read_site import read_site
from wellring.model.layouts.layout import lay_out_schemes
from wellring.model.runs.run import schemes_of

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and POSIX alarms")

LONGEST_S = 60
MOST_MEMORY = 3 * 1024**3
"""Bytes that reading may add to what the process has."""
TEXTS = (
    *("site.toml", "ags.toml", "collars.csv", "layers.csv", "water.csv", "site.ags"),
    *("piezometers.csv", "stage.csv", "wells.csv", "pit.geojson", "wall.geojson", "river.geojson"),
)
BINARIES = ("ground.tif", "houses.gpkg")
WEIGHTED = (
    *TEXTS,
    *TEXTS,
    "site.toml",
    "site.toml",
    "site.toml",
    *BINARIES,
    "raster",
    "database",
    "file",
)

_NOT_OURS = re.compile(r"Traceback|Input should|pydantic|<class|<function|lambda|object at 0x")


class TooLong(BaseException):
    """Reading took longer than a minute."""


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile") / "site"
    folder.mkdir()
    rich_site.write_rich_site(folder)
    return folder


def spoil(folder: Path, what: str, seed: int) -> str:
    """Spoil one thing; the site file through which it is read."""
    chance = random.Random(seed)
    if what == "raster":
        with contextlib.suppress(Exception):  # spoiled before: it cannot be written any more
            mutate_data.spoil_raster(folder / "ground.tif", chance)
    elif what == "database":
        with contextlib.suppress(Exception):  # spoiled before: it is no database any more
            mutate_data.spoil_geopackage(folder / "houses.gpkg", chance)
    elif what == "file":
        what = chance.choice((*TEXTS, *BINARIES))
        mutate_data.spoil_file(folder / what, chance)
    else:
        path = folder / what
        if path.is_file() and not path.is_symlink():
            ways = mutate.BINARY if what in BINARIES else mutate.TEXT
            path.write_bytes(chance.choice(ways)(path.read_bytes(), chance))
    return "ags.toml" if what in ("ags.toml", "site.ags") else "site.toml"


def entries(folder: Path) -> dict[str, tuple[int, int, int]]:
    """Everything in a folder, with what changes when it is written."""
    found = {}
    for item in sorted(folder.rglob("*")):
        state = item.lstat()
        found[str(item)] = (state.st_mode, state.st_size, state.st_mtime_ns)
    return found


_watched: list[str] | None = None
"""What was done that reading must not do, while it is watched."""


def _watch(event: str, arguments: tuple[Any, ...]) -> None:
    if _watched is None:
        return
    if event == "open":
        path, mode, flags = arguments
        writes = flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) if isinstance(flags, int) else 0
        if (writes or set(str(mode)) & set("wax+")) and "__pycache__" not in str(path):
            _watched.append(f"wrote {path}")
    elif event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "socket.connect"):
        _watched.append(f"{event} {arguments}")
    elif event in ("compile", "exec", "import", "pickle.find_class") and "pwned" in str(arguments):
        _watched.append(f"{event} of data")


sys.addaudithook(_watch)


@contextlib.contextmanager
def watched() -> Iterator[list[str]]:
    """Reading under guard: by the clock, by its memory, and by what Python does for it."""
    global _watched

    def stop(*_: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(LONGEST_S)
    limits = resource.getrlimit(resource.RLIMIT_AS)
    with open("/proc/self/statm") as file:
        size = int(file.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (size + MOST_MEMORY, limits[1]))
    done: list[str] = []
    _watched = done
    try:
        yield done
    finally:
        _watched = None
        resource.setrlimit(resource.RLIMIT_AS, limits)
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def taken_or_refused(site: Path) -> str:
    """ "" when the site is taken, else why it is refused; anything but a refusal in words fails."""
    try:
        read = read_site(site)
        lay_out_schemes(read, schemes_of(read))
    except InputFaults as error:
        refusal = error
    else:
        return ""
    text = str(refusal)
    assert refusal.faults
    assert not _NOT_OURS.search(text), text
    for fault in refusal.faults:
        assert fault.file, text
        assert fault.place, text
        assert fault.expected, text
        assert len(str(fault)) < 3000, text
        assert "\n" not in str(fault), text
    return text


def one_site(original: Path, spoils: list[tuple[str, int]]) -> str:
    with tempfile.TemporaryDirectory(prefix="hostile-") as place:
        folder = Path(place) / "above" / "site"
        shutil.copytree(original, folder)
        (Path(place) / "above" / "untouched.txt").write_text("stays as it is")
        names = [spoil(folder, what, seed) for what, seed in spoils]
        before = entries(Path(place))
        with watched() as done:
            said = taken_or_refused(folder / names[-1])
        assert done == []
        assert entries(Path(place)) == before
    assert not Path("pwned").exists()
    return said


SPOILS = st.lists(
    st.tuples(st.sampled_from(WEIGHTED), st.integers(0, 2**32 - 1)), min_size=1, max_size=3
)
USUAL: dict[str, Any] = {
    "deadline": None,
    "database": None,
    "suppress_health_check": list(HealthCheck),
}


def test_the_original_is_taken(original: Path) -> None:
    for name in ("site.toml", "ags.toml"):
        with watched() as done:
            assert taken_or_refused(original / name) == ""
        assert done == []


@given(spoils=SPOILS)
@settings(max_examples=300, derandomize=True, **USUAL)
def test_three_hundred_spoiled_sites(original: Path, spoils: list[tuple[str, int]]) -> None:
    one_site(original, spoils)


@pytest.mark.slow
@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("batch", range(10))
def test_five_thousand_spoiled_sites(original: Path, batch: int) -> None:
    """Counted rather than stopped at the first: which seeds fail, and how many are taken."""
    chance = random.Random(20 + batch)
    failed: dict[str, list[Any]] = {}
    taken = 0
    for _ in range(500):
        spoils = [
            (chance.choice(WEIGHTED), chance.randrange(2**32))
            for _ in range(chance.choice((1, 1, 1, 2, 3)))
        ]
        try:
            taken += one_site(original, spoils) == ""
        except (Exception, TooLong) as error:
            failed.setdefault(f"{type(error).__name__}: {str(error)[:150]}", spoils)
    assert not failed, "\n".join(f"{what}: {spoils}" for what, spoils in failed.items())
    assert 50 < taken < 450
