"""Seeded random schemes: every method to lower the water, alone and combined, on random ground.

Ten mixes of methods take turns. The ground is drawn about a decade wider than each method is meant
for, so that every limit governs somewhere: pump, curve, screen, lift, header, nozzle, head limit.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.random import Generator
from site_generator import (
    CENTRE,
    RandomSite,
    Ranges,
    draw_site,
    sides_of,
    write_files,
)

Draw = Callable[[RandomSite, Generator], list[dict[str, Any]]]
"""Draws the keys of each [[schemes.drainage]] of a mix."""


def write_scheme(seed: int, folder: Path) -> RandomSite:
    """Write the site and scheme of `seed` into `folder`."""
    ranges, draw = MIXES[mix_of(seed)]
    rng = np.random.default_rng([30_240, seed])
    site = draw_site(seed, rng, ranges)
    write_files(
        site,
        rng,
        folder,
        lambda drawn, again: [("[[schemes.drainage]]", keys) for keys in draw(drawn, again)],
        _most_rain(site),
    )
    return site


def _most_rain(site: RandomSite) -> float:
    """Recharge [m/s] whose mound at the pit, w·L²/2T, is half the depth of the natural level."""
    thick = np.diff(site.column.bottom, prepend=0.0)
    transmissivity = float((site.column.kh * thick).sum())
    return (site.ground - site.water) * transmissivity / site.source_distance**2


def mix_of(seed: int) -> str:
    """Name of the mix of methods of a seed."""
    return list(MIXES)[seed % len(MIXES)]


def _ring(site: RandomSite, rng: Generator, name: str, spacing: float) -> dict[str, Any]:
    """A ring in or around the pit, and the name of its points."""
    outside = float(rng.uniform(0.8, 4.0))
    inward = -float(min(2.0, 0.15 * min(sides_of(site.outline))))
    inside = site.wall != "none" and rng.random() < 0.6
    offset = inward if inside else outside
    return {"name": name, "ring": {"offset": round(offset, 2), "spacing": round(spacing, 2)}}


def _wells(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    """Deep wells that hold a level or are asked a flow, with a capacity, skin or efficiency."""
    formation, base = site.formations[-1], site.ground - site.column.depth
    low = round(formation - float(rng.uniform(0.4, 0.9)) * (formation - base), 2)
    high = round(low + float(rng.uniform(0.3, 1.0)) * (site.water - low), 2)
    keys = {
        "method": "deep wells",
        **_ring(site, rng, "well", float(rng.uniform(5.0, 25.0))),
        "screen": [low, high],
        "diameter": round(float(rng.uniform(0.2, 0.6)), 2),
    }
    if rng.random() < 0.6:
        keys["hold"] = round(low + float(rng.uniform(0.05, 1.0)) * (formation - low), 2)
    else:
        keys["rate"] = float(f"{10.0 ** rng.uniform(-4.5, -2.0):.3g}")
    if rng.random() < 0.7:
        keys["pump"] = {"capacity": float(f"{10.0 ** rng.uniform(-4.0, -2.0):.3g}")}
    if rng.random() < 0.3:
        keys["skin"] = {"thickness": 0.05, "k": float(f"{10.0 ** rng.uniform(-6.0, -3.0):.2g}")}
    elif rng.random() < 0.4:
        keys["efficiency"] = round(float(rng.uniform(0.5, 0.95)), 2)
    return [keys]


def _curves(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    """Deep wells with a pump's curve, or a capacity with head, and losses of a step test."""
    (keys,) = _wells(site, rng)
    keys.pop("skin", None), keys.pop("efficiency", None)
    most = 10.0 ** rng.uniform(-3.5, -2.0)
    lift = site.ground - site.formations[-1]
    head = round(lift * float(rng.uniform(0.7, 2.5)) + 2.0, 1)
    if rng.random() < 0.5:
        flows = [0.0, 0.5 * most, most]
        keys["pump"] = {
            "curve": [
                [float(f"{q:.3g}"), round(h, 1)]
                for q, h in zip(flows, (1.3 * head, head, 0.4 * head), strict=True)
            ],
            "losses": 1.0,
        }
    else:
        keys["pump"] = {"capacity": float(f"{most:.3g}"), "head": head}
    keys["well_loss"] = {
        "b": float(f"{10.0 ** rng.uniform(1.0, 3.0):.2g}"),
        "c": float(f"{10.0 ** rng.uniform(3.0, 5.5):.2g}"),
    }
    return [keys]


def _tier(site: RandomSite, rng: Generator, name: str, header: float) -> dict[str, Any]:
    """One tier of wellpoints under a header: its lift is given, or follows from the altitude."""
    keys = {
        "method": "wellpoints",
        **_ring(site, rng, name, float(rng.uniform(1.5, 4.0))),
        "header": round(header, 2),
    }
    if rng.random() < 0.5:
        keys["lift"] = round(float(rng.uniform(3.5, 6.0)), 2)
    else:
        keys["altitude"] = round(float(rng.uniform(0.0, 2500.0)))
        keys["temperature"] = round(float(rng.uniform(5.0, 25.0)), 1)
    top = header - float(rng.uniform(3.5, 6.5))
    # Never deeper than the borings: the screen must meet modelled ground.
    top = max(top, site.ground - site.column.depth + 1.2)
    keys["screen"] = [round(top - 1.0, 2), round(top, 2)]
    if rng.random() < 0.5:
        keys["capacity"] = float(f"{10.0 ** rng.uniform(-4.5, -3.0):.2g}")
    if rng.random() < 0.6:
        keys["pump_capacity"] = float(f"{10.0 ** rng.uniform(-3.5, -1.7):.3g}")
    return keys


def _wellpoints(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    return [_tier(site, rng, "tier", site.water + float(rng.uniform(-0.5, 0.3)))]


def _two_tiers(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    """A second tier from a header at the first berm, where there is more than one stage."""
    upper = _tier(site, rng, "upper tier", site.water + 0.2)
    middle = max(site.formations[0], site.water - 4.0)
    lower = _tier(site, rng, "lower tier", middle + 0.3)
    if len(site.formations) > 1:
        lower["from_stage"] = "dig 2"
        if rng.random() < 0.3:
            upper["until_stage"] = "dig 1"
    return [upper, lower]


def _vacuum(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    return [{**keys, "vacuum": True} for keys in _wellpoints(site, rng)]


def _ejectors(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    """Nozzles anywhere in the screen; the supply lifts the water, sometimes only just."""
    formation, base = site.formations[-1], site.ground - site.column.depth
    low = round(formation - float(rng.uniform(0.3, 0.9)) * (formation - base), 2)
    high = round(low + float(rng.uniform(0.2, 1.0)) * (site.water - low), 2)
    nozzle = round(low + float(rng.uniform(0.0, 0.5)) * (min(formation, high) - low), 2)
    keys = {
        "method": "ejectors",
        **_ring(site, rng, "ejector", float(rng.uniform(2.0, 8.0))),
        "screen": [low, high],
        "nozzle": nozzle,
        "outlet": round(site.ground + 1.0, 2),
        "supply_pressure": float(f"{rng.uniform(4e5, 1.4e6):.3g}"),
    }
    if rng.random() < 0.3:
        keys["capacity"] = float(f"{10.0 ** rng.uniform(-4.5, -3.2):.2g}")
    return [keys]


def _sump(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    return [{"method": "sump", "pump_capacity": 0.05}]


def _relieved(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    """Passive wells in the pit beside pumped ones around it."""
    (wells,) = _wells(site, rng)
    formation, base = site.formations[-1], site.ground - site.column.depth
    low = round(base + float(rng.uniform(0.1, 0.5)) * (formation - base), 2)
    relief = {
        "method": "relief wells",
        "name": "relief",
        "points": [list(CENTRE), [CENTRE[0] + 2.0, CENTRE[1] - 1.0]],
        "screen": [low, round(low + float(rng.uniform(0.2, 0.8)) * (formation - low), 2)],
        "diameter": round(float(rng.uniform(0.1, 0.4)), 2),
    }
    return [wells, relief]


def _beyond(site: RandomSite, rng: Generator) -> tuple[list[float], list[float]]:
    """Two ends of a row beyond the pit [m], as far from it as a neighbour would stand."""
    away = 0.7 * site.size + float(rng.uniform(8.0, 20.0))
    turn = float(rng.uniform(0.0, 2 * np.pi))
    out, along = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    middle = np.array(CENTRE) + away * out
    a, b = (np.round(middle + side * 0.4 * site.size * along, 2).tolist() for side in (-1, 1))
    return a, b


def _given(rng: Generator, most: float) -> dict[str, Any]:
    """A rate or a share to give back, and how clogged the way into the ground is."""
    keys: dict[str, Any] = {"clogging": round(float(rng.uniform(1.0, 4.0)), 1)}
    if rng.random() < 0.7:
        keys["share"] = round(float(rng.uniform(0.1, 0.8)), 2)
    else:
        keys["rate"] = float(f"{10.0 ** rng.uniform(-5.0, most):.2g}")
    return keys


def _recharged(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    (wells,) = _wells(site, rng)
    low = site.water - float(rng.uniform(0.3, 0.9)) * (site.water - wells["screen"][0])
    back = {
        "method": "recharge wells",
        "name": "recharge",
        "line": {"along": list(_beyond(site, rng)), "count": int(rng.integers(2, 6))},
        "screen": [round(low, 2), round(site.water, 2)],
        "diameter": 0.3,
        "head_limit": round(site.water + float(rng.uniform(0.2, 3.0)), 2),
        **_given(rng, -2.5),
    }
    return [wells, back]


def _trenched(site: RandomSite, rng: Generator) -> list[dict[str, Any]]:
    (wells,) = _wells(site, rng)
    trench = {
        "method": "recharge trench",
        "name": "trench",
        "line": {"along": list(_beyond(site, rng)), "spacing": 3.0},
        "bottom": round(site.water - float(rng.uniform(1.0, 3.0)), 2),
        "width": 0.8,
        "head_limit": round(site.water + float(rng.uniform(0.1, site.ground - site.water)), 2),
        **_given(rng, -2.5),
    }
    return [wells, trench]


MIXES: dict[str, tuple[Ranges, Draw]] = {
    "deep wells": (Ranges((-6.0, -2.5), 5, (2.0, 15.0), 60.0), _wells),
    "deep wells with curves and losses": (Ranges((-6.0, -2.5), 5, (2.0, 15.0), 60.0), _curves),
    "wellpoints": (Ranges((-7.0, -2.8), 4, (1.5, 6.0), 50.0), _wellpoints),
    "two tiers of wellpoints": (Ranges((-6.5, -2.8), 4, (3.0, 9.0), 50.0), _two_tiers),
    "vacuum wellpoints": (Ranges((-8.0, -4.0), 4, (1.5, 6.0), 50.0), _vacuum),
    "ejectors": (Ranges((-6.5, -4.0), 5, (3.0, 15.0), 50.0), _ejectors),
    "sump": (Ranges((-7.0, -2.0), 5, (1.0, 8.0), 60.0), _sump),
    "deep and relief wells": (Ranges((-7.0, -3.0), 6, (2.0, 12.0), 60.0), _relieved),
    "deep and recharge wells": (Ranges((-5.5, -2.8), 4, (2.0, 12.0), 60.0), _recharged),
    "deep wells and recharge trench": (Ranges((-5.5, -2.8), 4, (2.0, 12.0), 60.0), _trenched),
}
"""Ground, pit and drainage of each mix."""
