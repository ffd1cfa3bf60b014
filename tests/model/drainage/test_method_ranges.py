"""Every method outside its range of use says so, and within it says nothing."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import box

from wellring.inputs.site.drainage import (
    DeepWells,
    Ejectors,
    RechargeTrench,
    RechargeWells,
    ReliefWells,
    Ring,
    Sump,
    Wellpoints,
)
from wellring.model.drainage import methods
from wellring.model.drainage.method import Placement
from wellring.model.grid.ground import Ground
from wellring.model.grid.layers import Layers
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.runs.check import check_site

RING = {"offset": 1.0, "count": 4}
TABLES = {
    "deep wells": DeepWells(
        method="deep wells", ring=RING, screen=(-9, -1), diameter=0.3, hold=-6
    ),
    "wellpoints": Wellpoints(method="wellpoints", ring=RING, screen=(-5, -4), header=0.0),
    "vacuum": Wellpoints(
        method="wellpoints", ring=RING, screen=(-5, -4), header=0.0, vacuum=True
    ),
    "ejectors": Ejectors(
        method="ejectors", ring=RING, screen=(-9, -1), nozzle=-8, outlet=2, supply_pressure=8e5
    ),
    "relief wells": ReliefWells(
        method="relief wells", ring=RING, screen=(-9, -4), diameter=0.3
    ),
    "recharge wells": RechargeWells(
        method="recharge wells", ring=RING, screen=(-9, -1), diameter=0.3, head_limit=1, rate=1e-4
    ),
    "recharge trench": RechargeTrench(
        method="recharge trench", ring=RING, bottom=-4, width=0.8, head_limit=-0.5, rate=1e-4,
        clogging=2.0,
    ),
    "sump": Sump(method="sump"),
}  # fmt: skip
# kh within, below and above each range; its source stands beside the range in model/drainage/.
KH = {
    "deep wells": (1e-4, 1e-6, 5e-2),
    "wellpoints": (1e-4, 1e-7, 5e-3),
    "vacuum": (1e-6, 1e-8, 1e-4),
    "ejectors": (1e-6, 1e-9, 1e-4),
    "relief wells": (1e-4, 1e-7, None),
    "recharge wells": (1e-4, 1e-6, None),
    "recharge trench": (1e-4, 1e-6, None),
    "sump": (5e-3, 1e-5, None),
}


def placement(kh: float) -> Placement:
    """One soil 10 m deep on a grid of 1 m, a pit of 10 by 10 m dug to −2 m."""
    n = 30 * 30
    edges = np.linspace(0.0, -10.0, 11)[:, None].repeat(n, axis=1)
    cells = np.full((10, n), kh)
    present = np.ones((10, n), bool)
    lines = np.linspace(0.0, 30.0, 31)
    ground = Ground(
        Layers(edges, np.zeros((10, n), np.int16), present), cells, cells, cells, cells, present,
        np.ones(n), ("soil",),
    )  # fmt: skip
    grid = PlanGrid(lines, lines[::-1], (-10.0, -10.0), 0.0)
    return Placement("W", box(0, 0, 10, 10), None, grid, ground, 100.0, (-2.0,))


def warnings(name: str, kh: float, **changed: object) -> list[str]:
    table = TABLES[name].model_copy(update=changed)
    method, place = methods()[type(table)], placement(kh)
    return method.warnings(table, place, method.points(table, place))


@pytest.mark.parametrize("name", KH)
def test_ground_outside_the_range_is_told_with_reason_and_source(name: str) -> None:
    within, *outside = KH[name]
    assert warnings(name, within) == []
    for kh in outside:
        if kh is not None:
            (text,) = warnings(name, kh)
            assert "outside their usual range" in text
            assert "memory" in text or "common practice" in text or "UFC" in text
            assert "; " in text  # the reason


def check(path: Path, **drainage: object) -> list[str]:
    """Warnings of `check` on a site file with one table of drainage in its scheme."""
    text = path.read_text(encoding="utf-8")
    rows = [f"{key} = {str(v).lower() if isinstance(v, bool) else json.dumps(v)}"
            for key, v in drainage.items() if key != "ring"]  # fmt: skip
    ring = "ring = { offset = 1.0, count = 4 }"
    tables = ["[[schemes]]", 'name = "one"', "[[schemes.drainage]]", 'name = "W"', *rows, ring]
    path.write_text("\n".join([text, *tables, ""]), encoding="utf-8")
    (scheme,) = check_site(path).schemes
    return list(scheme.warnings)


@pytest.mark.parametrize(
    ("kh", "outside"), [(0.99e-7, True), (1.01e-7, False), (0.99e-5, False), (1.01e-5, True)]
)
def test_ground_for_vacuum_wellpoints(
    kh: float, outside: bool, tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    """C29: 1e-7 to 1e-5 m/s (UFC 3-220-05, 2004, ch. 2, vacuum wellpoints, read)."""
    path = plain_site(tmp_path / "site", soils={"sand": (kh, kh)}, cell=4.0, sublayer=2.0)
    points = {"method": "wellpoints", "screen": [-6.0, -5.0], "header": 0.0, "vacuum": True}
    told = [text for text in check(path, **points) if "1e-07 to 1e-05 m/s (UFC 3-220" in text]
    assert len(told) == outside


@pytest.mark.parametrize(("nozzle", "too_deep"), [(-30.4, False), (-30.6, True)])
def test_depth_of_ejectors(
    nozzle: float, too_deep: bool, tmp_path: Path, plain_site: Callable[..., Path]
) -> None:
    """C29: as much as 100 ft = 30.5 m (UFC 3-220-05, 2004, ch. 2, jet-eductors, read)."""
    path = plain_site(
        tmp_path / "site",
        layers=(("sand", -40.0),),
        soils={"sand": (1e-6, 1e-6)},
        formations=(-25.0,),
        cell=4.0,
        sublayer=4.0,
    )
    ejectors = {"method": "ejectors", "screen": [-35.0, -30.0], "nozzle": nozzle, "outlet": 0.0,
                "supply_pressure": "12 bar"}  # fmt: skip
    told = [text for text in check(path, **ejectors) if "more than the usual 30.5 m" in text]
    assert len(told) == too_deep


@pytest.mark.parametrize(
    ("sand", "screen", "said"),
    [
        (-12.0, (-5.9, -2.0), "through 1.9 m of 8.0 m (24%)"),
        (-12.0, (-6.1, -2.0), None),
        (-12.0, (-3.9, -2.0), "through 0.0 m of 8.0 m (0%)"),
        (-12.0, (-16.0, -15.0), "through 1.0 m of 5.0 m (20%)"),  # the gravel's
        (-12.0, (-19.0, -15.0), None),
        (-3.0, (-3.0, -2.0), None),  # the sand ends above the floor
    ],
)
def test_depth_of_screens_below_the_floor(
    sand: float,
    screen: tuple[float, float],
    said: str | None,
    tmp_path: Path,
    plain_site: Callable[..., Path],
) -> None:
    """C29: at least 25 % of the aquifer below the cut (UFC 3-220-05, 2004, para. 4-2b(6), read).

    Sand over clay to −15 m over gravel to −20 m; the floor is at −4 m.
    """
    path = plain_site(
        tmp_path / "site",
        layers=(("sand", sand), ("clay", -15.0), ("gravel", -20.0)),
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9), "gravel": (1e-3, 1e-3)},
        cell=4.0,
        sublayer=2.0,
    )
    wells = {"method": "deep wells", "screen": list(screen), "diameter": 0.3, "rate": 1e-3}
    told = [text for text in check(path, **wells) if "UFC 3-220-05, para. 4-2b(6)" in text]
    assert len(told) == (said is not None)
    assert said is None or said in told[0]
    assert said is None or told[0].startswith("W: the screens of 4 of 4 wells")


def test_screens_of_an_upper_tier_are_not_measured_by_the_last_floor() -> None:
    upper = {"screen": (-3.0, -1.0), "hold": -3.0}
    (told,) = warnings("deep wells", 1e-4, **upper)
    assert "the least through 1.0 m of 8.0 m (12%)" in told
    assert warnings("deep wells", 1e-4, **upper, until_stage="dig 1") == []


def test_more_lift_than_suction_or_jets_give_is_told() -> None:
    """Suction 6 m (trade, from memory); ejectors 100 ft = 30.5 m (UFC 3-220-05 ch. 2)."""
    (suction,) = warnings("wellpoints", 1e-4, lift=7.5)
    assert "7.5 m: more than the usual 6 m" in suction
    assert warnings("wellpoints", 1e-4, lift=5.5) == []
    (jets,) = warnings("ejectors", 1e-6, outlet=25.0)
    assert "33.0 m: more than the usual 30.5 m" in jets
    assert warnings("ejectors", 1e-6, outlet=22.0) == []


def test_fine_soil_at_a_sumps_floor_is_told() -> None:
    def notes(kh: float) -> str:
        return " ".join(methods()[Sump].notes(TABLES["sump"], placement(kh)))

    assert "washes it out" in notes(2e-5)
    assert "100% of the floor" in notes(2e-5)
    assert "washes it out" not in notes(1e-2)
    assert "washes it out" not in notes(1e-9)  # clay does not wash out through its pores
    assert "no clearance" in notes(1e-2)


def test_relief_wells_outside_the_pit_are_told() -> None:
    """A passive well needs the pit's floor to flow over."""
    note = methods()[ReliefWells].notes
    (told,) = note(TABLES["relief wells"], placement(1e-4))  # a ring 1 m outside
    assert told.startswith("W: 4 stand outside the pit")
    inside = TABLES["relief wells"].model_copy(update={"ring": Ring(offset=-2.0, count=4)})
    assert list(note(inside, placement(1e-4))) == []
