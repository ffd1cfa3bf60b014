"""Rules between the tables of a site file, and what this version does not model yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from wellring.inputs.drainage import DeepWells, OtherDrainage
from wellring.inputs.faults import FaultLog, nearest
from wellring.inputs.site import Recharge, River, SiteDescription
from wellring.inputs.toml_text import line_of


def check_rules(
    site: SiteDescription, file: str, lines: Mapping[str, int], faults: FaultLog
) -> None:
    """Find what no single table can see: names that nobody has, levels that do not fit."""

    def add(place: str, value: object, expected: str, remedy: str = "") -> None:
        faults.add(file, place, value, expected, remedy, line_of(place, lines))

    _check_soils(site, add)
    _check_stages(site, add)
    _check_schemes(site, add)
    _check_ask_twice(site, add, faults)


Add = Callable[..., None]


def _check_soils(site: SiteDescription, add: Add) -> None:
    for code, soil in site.borings.codes.items():
        if soil not in site.soils:
            add(f"borings.codes.{code}", soil, "a soil of [soils]", nearest(soil, site.soils))
    for soil in site.water.levels:
        if soil not in site.soils:
            add(f"water.levels.{soil}", None, "a soil of [soils]", nearest(soil, site.soils))
    for index, boundary in enumerate(site.water.boundary):
        for soil in getattr(boundary, "soils", None) or ():
            if soil not in site.soils:
                place = f"water.boundary.{index}.soils"
                add(place, soil, "a soil of [soils]", nearest(soil, site.soils))
    for name, values in site.soils.items():
        if values.kv is not None and values.kv > 10 * values.horizontal_k:
            add(f"soils.{name}.kv", values.kv, "kv not above 10 times kh", "Are kh and kv swapped?")


def _check_stages(site: SiteDescription, add: Add) -> None:
    names = [stage.name for stage in site.excavation.stages]
    formation: float | None = None
    for index, stage in enumerate(site.excavation.stages):
        if stage.formation is None:
            continue
        if formation is not None and stage.formation > formation + 1e-9 and stage.slab is None:
            add(
                f"excavation.stages.{index}.formation",
                stage.formation,
                f"a level not above the stage before ({formation:g} m)",
                "Order the stages from the top down.",
            )
        formation = stage.formation
        ground, base = site.site.ground, site.borings.base
        if isinstance(ground, float) and stage.formation > ground + 1e-6:
            add(
                f"excavation.stages.{index}.formation",
                stage.formation,
                f"a level not above the ground ({ground:g} m)",
                "Levels are elevations, not depths.",
            )
        if base is not None and stage.formation <= base:
            add(
                f"excavation.stages.{index}.formation",
                stage.formation,
                f"a level above the model's floor ({base:g} m)",
                "Lower borings.base.",
            )
    for place, stage_name in _stage_names(site):
        if stage_name not in names:
            add(place, stage_name, "the name of a stage", nearest(stage_name, names))


def _stage_names(site: SiteDescription) -> Iterator[tuple[str, str]]:
    for index, wall in enumerate(site.walls):
        if wall.stage is not None:
            yield f"walls.{index}.stage", wall.stage
    for number, scheme in enumerate(site.schemes):
        for index, wall in enumerate(scheme.walls or ()):
            if wall.stage is not None:
                yield f"schemes.{number}.walls.{index}.stage", wall.stage
        for index, drainage in enumerate(scheme.drainage):
            for key in ("from_stage", "until_stage"):
                value = getattr(drainage, key, None)
                if isinstance(drainage, DeepWells) and value is not None:
                    yield f"schemes.{number}.drainage.{index}.{key}", value


def _check_schemes(site: SiteDescription, add: Add) -> None:
    names = [scheme.name for scheme in site.schemes]
    for index, name in enumerate(names):
        if name in names[:index]:
            add(f"schemes.{index}.name", name, "scheme names that differ")
    points = [point.name for point in site.points]
    for index, name in enumerate(points):
        if name in points[:index]:
            add(f"points.{index}.name", name, "point names that differ")
    walls = [("walls", site.walls)]
    walls += [(f"schemes.{n}.walls", s.walls or ()) for n, s in enumerate(site.schemes)]
    deepest = min(s.formation for s in site.excavation.stages if s.formation is not None)
    for prefix, group in walls:
        for index, wall in enumerate(group):
            toes = wall.toe if isinstance(wall.toe, tuple) else (wall.toe,)
            for toe in toes:
                if wall.holds_water and toe is not None and toe > deepest:
                    add(
                        f"{prefix}.{index}.toe",
                        toe,
                        f"a toe below the deepest formation ({deepest:g} m)",
                        "A wall that ends above the floor cannot hold the pit's sides.",
                    )


def _check_ask_twice(site: SiteDescription, add: Add, faults: FaultLog) -> None:
    """Magnitudes that are possible but more often a slip of units are told as warnings."""
    for name, soil in site.soils.items():
        if soil.horizontal_k > 0.05:
            faults.warn(
                f"soils.{name}.kh is {soil.horizontal_k:g} m/s, more than clean gravel: "
                "was it given in m/day?"
            )
    water = site.water
    fixed = any(boundary.kind in ("river", "fixed_head") for boundary in water.boundary)
    if water.edge == "no flow" and not fixed:
        add(
            "water.edge",
            "no flow",
            "a river or fixed_head boundary beside it",
            "Without any the model has no water to give.",
        )


def refuse_unsupported(
    site: SiteDescription, file: str, lines: Mapping[str, int], faults: FaultLog
) -> None:
    """Refuse by name every part of the contract this version does not model yet."""
    for place, what in _unsupported(site):
        faults.add(
            file,
            place,
            None,
            "a part this version models",
            f"{what} is not supported yet: take it out of the file to run the rest.",
            line_of(place, lines),
        )


def _unsupported(site: SiteDescription) -> Iterator[tuple[str, str]]:
    if site.neighbours:
        yield "neighbours", "The assessment of neighbours"
    if site.operations is not None:
        yield "operations", "The cost and crew of operation"
    for index, stage in enumerate(site.excavation.stages):
        if stage.slab is not None:
            yield f"excavation.stages.{index}.slab", "A slab and its flotation"
    for index, boundary in enumerate(site.water.boundary):
        place = f"water.boundary.{index}"
        if isinstance(boundary, River) and isinstance(boundary.stage, str):
            yield f"{place}.stage", "A river stage that changes in time"
        if isinstance(boundary, Recharge) and isinstance(boundary.rate, str):
            yield f"{place}.rate", "Recharge that changes in time"
        if boundary.kind == "fixed_head" and isinstance(boundary.head, str):
            yield f"{place}.head", "A held level that changes in time"
    for number, scheme in enumerate(site.schemes):
        for index, drainage in enumerate(scheme.drainage):
            place = f"schemes.{number}.drainage.{index}"
            if isinstance(drainage, OtherDrainage):
                yield f"{place}.method", f"The drainage method '{drainage.method}'"
            elif drainage.pump is not None and drainage.pump.curve:
                yield f"{place}.pump.curve", "A pump's curve"
