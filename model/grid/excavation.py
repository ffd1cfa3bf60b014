"""The dig: which cells are gone in a stage, and where water can leave through floor and faces.

Excavated cells are left out of the stage's model. The floor and the open faces are seepage
boundaries on the cells that remain: a drain at the level of the face whose conductance is that of
the half cell between face and cell centre, so it is derived, never picked. Behind a wall that
holds water the wall's resistance comes in series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.model.grid.faces import PlanFaces
from wellring.model.grid.ground import Ground
from wellring.model.grid.walls import PlacedWall

Floats = NDArray[np.float64]
Nodes = NDArray[np.intp]


@dataclass(frozen=True)
class Drains:
    """Seepage boundaries: node, level [m], conductance [m²/s] and smoothing depth [m], all (m,)."""

    node: Nodes
    level: Floats
    conductance: Floats
    depth: Floats

    def __len__(self) -> int:
        return self.node.size


@dataclass(frozen=True)
class Dig:
    """One stage of the excavation on the grid.

    Parameters
    ----------
    formation : level of the floor [m].
    gone : (nlay, n) cells excavated.
    floor, faces, wall : drains on the floor, on open faces and behind walls that hold water.
    floor_plan : plan cells (flat) of the floor drains, in their order.
    """

    formation: float
    gone: NDArray[np.bool_]
    floor: Drains
    faces: Drains
    wall: Drains
    floor_plan: Nodes


def dig_stage(
    ground: Ground,
    inside: NDArray[np.bool_],
    rim: PlanFaces,
    rim_factor: Floats,
    formation: float,
    walls: list[PlacedWall],
) -> Dig:
    """Cut the excavation down to `formation`.

    Parameters
    ----------
    inside : (n,) plan cells of the pit.
    rim : the pit's plan faces, `first` inside and `second` outside.
    rim_factor : (m,) true over staircase length of the rim.
    walls : water-holding walls standing in this stage.
    """
    layers, n = ground.layers, inside.size
    mid, thickness = layers.mid, layers.thickness
    gone = layers.present & inside[None, :] & (mid > formation)
    floor, floor_plan = _floor_drains(ground, inside, gone, formation)
    layer, face = np.nonzero(
        gone[:, rim.first] & layers.present[:, rim.second] & ground.active[:, rim.second]
    )
    outside = rim.second[face]
    node = layer * n + outside
    dz = thickness[layer, outside]
    area = dz * rim.width[face]
    half = ground.kh.reshape(-1)[node] / rim.gaps[face, 1] * rim_factor[face]
    resistance = _walls_on_rim(rim, walls, mid[layer, outside], face)
    behind = resistance > 0
    series = 1.0 / (1.0 / half + resistance)
    bottom = layers.edges[1:][layer, outside]
    open_face = ~behind
    faces = Drains(
        node[open_face],
        (bottom + 0.01 * dz)[open_face],  # text levels must not round below the cell
        (half * area)[open_face],
        0.98 * dz[open_face],
    )
    wall = Drains(
        node[behind], (bottom + 0.5 * dz)[behind], (series * area)[behind], np.zeros(behind.sum())
    )
    return Dig(formation, gone, floor, faces, wall, floor_plan)


def _floor_drains(
    ground: Ground, inside: NDArray[np.bool_], gone: NDArray[np.bool_], formation: float
) -> tuple[Drains, Nodes]:
    """Drains on the first cell under the floor of every pit column."""
    layers = ground.layers
    nlay = layers.present.shape[0]
    remains = layers.present & ground.active & ~gone
    plan = np.flatnonzero(inside & remains.any(axis=0))
    layer = np.argmax(remains[:, plan], axis=0)
    top = layers.edges[:-1][layer, plan]
    dz = layers.thickness[layer, plan]
    level = np.minimum(top, np.where(top > formation + 1e-9, formation, top))
    level = np.maximum(level, layers.edges[1:][layer, plan] + 0.01 * dz)
    node = layer * inside.size + plan
    conductance = ground.kv.reshape(-1)[node] * ground.area[plan] / (0.5 * dz)
    assert nlay * inside.size > node.max(initial=0)
    return Drains(node, level, conductance, np.zeros(node.size)), plan


def _walls_on_rim(rim: PlanFaces, walls: list[PlacedWall], level: Floats, face: Nodes) -> Floats:
    """Resistance [s] of the walls on rim faces (m,) per area of the face in the grid.

    Walls on one face act in series; 0 where none holds water there.
    """
    resistance = np.zeros(face.size)
    count = int(max(rim.first.max(initial=0), rim.second.max(initial=0))) + 1
    key = np.minimum(rim.first, rim.second).astype(np.int64) * count + np.maximum(
        rim.first, rim.second
    )
    for placed in walls:
        if not len(placed.faces):
            continue
        low = np.minimum(placed.faces.first, placed.faces.second).astype(np.int64)
        own = low * count + np.maximum(placed.faces.first, placed.faces.second)
        order = np.argsort(own)
        at = np.minimum(np.searchsorted(own[order], key), own.size - 1)
        match = own[order][at] == key
        index = order[at][face]
        stands = match[face] & (level > placed.toe[index]) & (level < placed.top[index])
        resistance += np.where(stands, 1.0 / placed.conductance[index], 0.0)
    return resistance
