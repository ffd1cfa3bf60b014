"""Every method outside its range of use says so, and within it says nothing."""

import numpy as np
import pytest
from shapely.geometry import box

from wellring.inputs.drainage import (
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
from wellring.model.ground import Ground
from wellring.model.layers import Layers
from wellring.model.plan_grid import PlanGrid

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
