"""Rules between the tables of a site file, and what this version does not model yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from wellring.inputs.basics.faults import FaultLog, nearest
from wellring.inputs.site.drainage import Placed
from wellring.inputs.site.names import drainage_names, repeated, wall_names
from wellring.inputs.site.site import SiteDescription


def check_rules(site: SiteDescription, file: str, faults: FaultLog) -> None:
    """Find what no single table can see: names that nobody has, levels that do not fit."""

    def add(place: str, value: object, expected: str, remedy: str = "") -> None:
        faults.add(file, place, value, expected, remedy)

    _check_soils(site, add)
    if _check_stages(site, add):
        _check_toes(site, add)
    _check_time(site, add)
    _check_names(site, add)
    _check_water(site, add, faults)
    _ask_twice(site, faults)


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
            expected = f"a kv at most 10 times kh ({values.horizontal_k:g} m/s)"
            add(f"soils.{name}.kv", values.kv, expected, "Are kh and kv swapped?")


def _check_stages(site: SiteDescription, add: Add) -> bool:
    """Whether names, days and formations of the stages fit together, and names of stages exist."""
    stages = site.excavation.stages
    names = [stage.name for stage in stages]
    again = {index for index, _ in repeated(names)}
    good, day = True, None
    for index, stage in enumerate(stages):
        place = f"excavation.stages.{index}"
        if index in again:
            add(f"{place}.name", stage.name, "another name than the stages before")
        if day is not None and stage.day is not None and stage.day < day:
            add(
                f"{place}.day",
                stage.day,
                f"a day not before the stage before (day {day:g})",
                "Put the stages in order of time.",
            )
        day = stage.day if stage.day is not None else day
        good &= _check_formation(site, index, add)
    for place, stage_name in _stage_names(site):
        if stage_name not in names:
            add(place, stage_name, "the name of a stage", nearest(stage_name, names))
    for place, drainage in _placed(site):
        first, last = drainage.from_stage, drainage.until_stage
        if first in names and last in names and names.index(last) < names.index(first):
            add(f"{place}.until_stage", last, f"a stage not before '{first}', its from_stage")
    return good


def _check_time(site: SiteDescription, add: Add) -> None:
    """A site followed in time needs a day for every stage, and pumps that start before the dig."""
    if site.time is None:
        return
    for index, stage in enumerate(site.excavation.stages):
        if stage.day is None:
            remedy = "Give each stage its day, or take [time] out."
            add(f"excavation.stages.{index}.day", None, "to be given beside [time]", remedy)
    first, starts = site.excavation.stages[0].day, site.time.pumping_starts
    if first is not None and starts is not None and starts > first:
        expected = f"a day not after the first stage's ({first:g})"
        add("time.pumping_starts", starts, expected, "The pumps start before the dig.")


def _check_formation(site: SiteDescription, index: int, add: Add) -> bool:
    """Whether a stage's formation fits the stages before, the ground and the model's floor."""
    stage = site.excavation.stages[index]
    formation, place = stage.formation, f"excavation.stages.{index}.formation"
    if formation is None:
        return True
    before = [s.formation for s in site.excavation.stages[:index] if s.formation is not None]
    ground, base = site.site.ground, site.borings.base
    if isinstance(ground, float) and formation > ground + 1e-6:
        expected = f"a level not above the ground ({ground:g} m)"
        add(place, formation, expected, "Levels are elevations in the site's datum, not depths.")
    elif before and formation < before[-1] - 1e-9 and _has_slab_before(site, index):
        expected = f"a level not below the slab cast before ({before[-1]:g} m)"
        add(place, formation, expected, "Dig first; cast the slab in a later stage.")
    elif before and formation > before[-1] + 1e-9:
        expected = f"a level not above the stage before ({before[-1]:g} m)"
        add(place, formation, expected, "Order the stages from the top down.")
    elif base is not None and formation <= base:
        expected = f"a level above the model's floor ({base:g} m)"
        add(place, formation, expected, "Lower borings.base.")
    else:
        return True
    return False


def _has_slab_before(site: SiteDescription, index: int) -> bool:
    return any(stage.slab is not None for stage in site.excavation.stages[:index])


def _placed(site: SiteDescription) -> Iterator[tuple[str, Placed]]:
    for number, scheme in enumerate(site.schemes):
        for index, drainage in enumerate(scheme.drainage):
            if isinstance(drainage, Placed):
                yield f"schemes.{number}.drainage.{index}", drainage


def _stage_names(site: SiteDescription) -> Iterator[tuple[str, str]]:
    for index, wall in enumerate(site.walls):
        if wall.stage is not None:
            yield f"walls.{index}.stage", wall.stage
    for number, scheme in enumerate(site.schemes):
        for index, wall in enumerate(scheme.walls or ()):
            if wall.stage is not None:
                yield f"schemes.{number}.walls.{index}.stage", wall.stage
    for place, drainage in _placed(site):
        for key in ("from_stage", "until_stage"):
            value = getattr(drainage, key)
            if value is not None:
                yield f"{place}.{key}", value
        for stage in getattr(drainage, "rates", {}):
            yield f"{place}.rates", stage


def _check_names(site: SiteDescription, add: Add) -> None:
    """Names repeat nowhere among what is told apart by them; stages: see `_check_stages`."""
    groups = [("schemes", [item.name for item in site.schemes])]
    groups += [("points", [item.name for item in site.points])]
    groups += [("walls", wall_names(site.walls))]
    for number, scheme in enumerate(site.schemes):
        groups += [(f"schemes.{number}.walls", wall_names(scheme.walls or ()))]
        groups += [(f"schemes.{number}.drainage", drainage_names(scheme.drainage))]
    for table, names in groups:
        for index, first in repeated(names):
            add(
                f"{table}.{index}.name",
                names[index],
                f"another name than that of {table}.{first}",
                "Tables, maps and answers tell them apart by their names.",
            )


def _check_toes(site: SiteDescription, add: Add) -> None:
    walls = [("walls", site.walls)]
    walls += [(f"schemes.{n}.walls", s.walls or ()) for n, s in enumerate(site.schemes)]
    deepest = min(s.formation for s in site.excavation.stages if s.formation is not None)
    for prefix, group in walls:
        for index, wall in enumerate(group):
            highest = max(wall.toes, default=deepest)
            if wall.holds_water and highest > deepest:
                add(
                    f"{prefix}.{index}.toe",
                    highest,
                    f"a toe below the deepest formation ({deepest:g} m)",
                    "A wall that ends above the floor cannot hold the pit's sides.",
                )


def _check_water(site: SiteDescription, add: Add, faults: FaultLog) -> None:
    water, ground = site.water, site.site.ground
    for index, boundary in enumerate(water.boundary):
        stage = getattr(boundary, "stage", None)
        if isinstance(stage, float) and isinstance(ground, float) and stage > ground:
            faults.warn(
                f"water.boundary.{index}.stage is {stage:g} m, {stage - ground:.2f} m above the "
                "ground: a flood, or a slip of the datum?"
            )
    fixed = any(boundary.kind in ("river", "fixed_head") for boundary in water.boundary)
    if water.edge == "no flow" and not fixed:
        add(
            "water.edge",
            "no flow",
            "a river or fixed_head boundary beside it",
            "Without any the model has no water to give.",
        )


def _ask_twice(site: SiteDescription, faults: FaultLog) -> None:
    """Magnitudes that are possible but more often a slip of units are told as warnings."""
    for name, soil in site.soils.items():
        if soil.horizontal_k > 0.05:
            faults.warn(
                f"soils.{name}.kh is {soil.horizontal_k:g} m/s, more than clean gravel: "
                "was it given in m/day?"
            )
