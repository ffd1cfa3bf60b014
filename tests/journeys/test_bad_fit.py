"""Parts of a site file that are right alone and do not fit together, or are not modelled.

Each case changes one thing in a site that works; the message names file, line, place and value.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from wellring.inputs.read_site import read_site
from wellring.model.layouts.layout import lay_out

WELLS = "schemes.0.drainage.0"
RING = "ring = { offset = -1.5, count = 6 }"
SCREEN = "screen = [-8.5, -1.0]"
HOLD = "hold = -4.0"
LINE = 'line = "outline"  '
FINAL = 'name = "final dig"'
LEVEL = "level = 2.5      "
SOURCE = "source_distance = 300.0  "
PILES = "pile_width = 0.6  "
CORNERS = (
    "corners = [[466000.0, 5918000.0], [466030.0, 5918000.0], [466030.0, 5918020.0], "
    "[466000.0, 5918020.0]]"
)
ACROSS = "line = [[466000, 5918005], [466100, 5918015]]\n"
AWAY = "line = [[466000, 5917900], [466100, 5917900]]\n"
CODES = (
    "# [borings.codes]                 # only where the logs use other words than the soils below\n"
    '# SA = "sand"'
)


def boundary(tables: str) -> tuple[str, str]:
    return "# [[water.boundary]]  ", f"[[water.boundary]]\n{tables}#"


# fmt: off
#: What is wrong → (old, new), place, value (None: any), words of the message.
CASES: dict[str, tuple[tuple[str, str], str, str | None, tuple[str, ...]]] = {
    # ---- coordinate systems ----
    "geographic crs": (
        ("EPSG:32633", "EPSG:4326"), "site.crs", "EPSG:4326", ("is in degrees", "EPSG:326NN"),
    ),
    "crs of web maps": (
        ("EPSG:32633", "EPSG:3857"), "site.crs", "EPSG:3857", ("pictures on the web", "UTM"),
    ),
    "unknown crs": (
        ("EPSG:32633", "EPSG:999999"), "site.crs", "EPSG:999999", ("look up its EPSG code",),
    ),
    "crs in words": (
        ("EPSG:32633", "UTM zone 33"), "site.crs", "UTM zone 33", ("look up its EPSG code",),
    ),
    # ---- the pit in plan ----
    "outline crosses itself": (
        ("[466030.0, 5918020.0], [466000.0, 5918020.0]", "[466000, 5918020], [466030, 5918020]"),
        "excavation.corners",
        "[[466000.0, 5918000.0], [466030.0, 5918000.0], [466000.0, 5918020.0], "
        "[466030.0, 5918020.0]]",
        ("(466015.00, 5918010.00)", "put the corners in order"),
    ),
    "outline without area": (
        (CORNERS, "corners = [[466000, 5918000], [466030, 5918000], [466010, 5918000]]"),
        "excavation.corners",
        "[[466000.0, 5918000.0], [466030.0, 5918000.0], [466010.0, 5918000.0]]",
        ("at least 0.1 m²", "in a line"),
    ),
    "x and y exchanged": (
        (CORNERS, "corners = [[5918000, 466000], [5918000, 466030], [5918020, 466030]]"),
        "excavation.corners",
        "[[5918000.0, 466000.0], [5918000.0, 466030.0], [5918020.0, 466030.0]]",
        ("exchange x and y",),
    ),
    "corners in degrees": (
        (CORNERS, "corners = [[14.5, 53.4], [14.501, 53.4], [14.501, 53.401]]"),
        "excavation.corners", "[[14.5, 53.4], [14.501, 53.4], [14.501, 53.401]]",
        ("in degrees instead of EPSG:32633",),
    ),
    "a digit lost": (
        ("[[466000.0,", "[[46600.0,"), "excavation", "419.4 km wide", ("at most 10 km",),
    ),
    "outline twice": (
        (CORNERS, f'outline = "pit.geojson"\n{CORNERS}'), "excavation", "",
        ("exactly one of outline or corners", "Here outline and corners are given"),
    ),
    # ---- stages ----
    "formation above the ground": (
        ("formation = 1.0", "formation = 5.0"), "excavation.stages.0.formation", "5.0",
        ("not above the ground (4 m)", "elevations in the site's datum, not depths"),
    ),
    "formation as a depth": (
        ("formation = -1.5", "formation = 5.5"), "excavation.stages.1.formation", "5.5",
        ("not above the ground (4 m)",),
    ),
    "formation rises": (
        ("formation = -1.5", "formation = 1.5"), "excavation.stages.1.formation", "1.5",
        ("not above the stage before (1 m)", "from the top down"),
    ),
    "dig under a slab": (
        ("formation = 1.0", 'formation = 1.0\nslab = { weight = "18 kPa" }'),
        "excavation.stages.1.formation", "-1.5",
        ("not below the slab cast before (1 m)", "Dig first"),
    ),
    "formation below the model's floor": (
        ("formation = -1.5", "formation = -15"), "excavation.stages.1.formation", "-15.0",
        ("above the model's floor (-14 m)", "Lower borings.base"),
    ),
    "stages out of time": (
        ("day = 21", "day = -1"), "excavation.stages.1.day", "-1.0",
        ("not before the stage before (day 0)",),
    ),
    "stages of one name": (
        (FINAL, 'name = "first dig"'), "excavation.stages.1.name", "first dig", ("another name",),
    ),
    "first stage digs nothing": (
        ("formation = 1.0", "#"), "excavation.stages.0", "", ("Add formation = 1.0",),
    ),
    # ---- walls ----
    "toe above the floor": (
        ("toe = -6.0", "toe = 0.0"), "walls.0.toe", "0.0", ("the deepest formation (-1.5 m)",),
    ),
    "no toe": (("toe = -6.0", "#"), "walls.0", "", ("Add toe =",)),
    "toe lists of another length": (
        ("toe = -6.0", "toe = [-6.0, -7.0]"), "walls.0.toe", "2 levels", ("4 corners",),
    ),
    "wall of a stage nobody has": (
        (PILES, f'stage = "frist dig"\n{PILES}'), "walls.0.stage", "frist dig",
        ("Did you mean 'first dig'?",),
    ),
    "leakage told half": (
        ('joint_resistance = "3e-7 m/s"', "k = 1e-8"), "walls.0", "", ("Add thickness",),
    ),
    "leakage told twice": (
        (PILES, f"k = 1e-8\nthickness = 0.5\n{PILES}"), "walls.0", "", ("Take one out",),
    ),
    "window backwards": (
        (PILES, f"windows = [{{ start = 5, end = 2, factor = 9 }}]\n{PILES}"),
        "walls.0.windows.0.end", "2.0", ("beyond the window's start at 5 m",),
    ),
    "window beyond the wall": (
        (PILES, f"windows = [{{ start = 5, end = 520, factor = 9 }}]\n{PILES}"),
        "walls.0.windows.0.end", "520.0", ("which is 100.00 m long",),
    ),
    "wall beyond the model": (
        (LINE, "line = [[476000, 5918000], [476030, 5918000]]"), "walls.0.line", "sheet pile 1",
        ("within the modelled ground", "water.source_distance larger"),
    ),
    # ---- wells ----
    "screen upside down": (
        (SCREEN, "screen = [-1.0, -8.5]"), f"{WELLS}.screen", "[-1.0, -8.5]",
        ("the bottom below the top", "not depths"),
    ),
    "held below the screen": (
        (HOLD, "hold = -9.0"), f"{WELLS}.hold", "-9.0", ("the screen's bottom (-8.5 m)",),
    ),
    "neither level nor rate": ((HOLD, "#"), WELLS, "", ("Add hold", "or rate")),
    "screen below the model": (
        (SCREEN, "screen = [-30.0, -20.0]"), f"{WELLS}.screen", "[-30.0, -20.0]",
        ("'W 1' meets no modelled ground",),
    ),
    "well beyond the model": (
        (RING, "points = [[469000.0, 5918010.0]]"), f"{WELLS}.screen", "[-8.5, -1.0]",
        ("ends 300 m from the pit", "(469000.0, 5918010.0) stands outside"),
    ),
    "well in another country": (
        (RING, "points = [[566000.0, 5918010.0]]"), WELLS, "",
        ("within 20 km of the pit", "another coordinate system"),
    ),
    "ring within nothing": (
        ("offset = -1.5", "offset = -12"), f"{WELLS}.ring.offset", "-12.0",
        ("Moved inward by 12 m, nothing is left",),
    ),
    "ring by count and spacing": (
        ("count = 6 }", "count = 6, spacing = 3 }"), f"{WELLS}.ring", "",
        ("exactly one of count or spacing",),
    ),
    "nowhere": ((RING, "#"), WELLS, "", ("exactly one of ring, line or points", "none is given")),
    "two places": (
        (RING, f"{RING}\npoints = [[466005, 5918005]]"), WELLS, "", ("ring and points are given",),
    ),
    "works from a stage nobody has": (
        (HOLD, f'{HOLD}\nfrom_stage = "second dig"'), f"{WELLS}.from_stage", "second dig",
        ("Known here: final dig, first dig",),
    ),
    "ends before it begins": (
        (HOLD, f'{HOLD}\nfrom_stage = "final dig"\nuntil_stage = "first dig"'),
        f"{WELLS}.until_stage", "first dig", ("not before 'final dig'",),
    ),
    "skin and efficiency": (
        (HOLD, f"{HOLD}\nskin = {{ thickness = 0.1, k = 1e-3 }}\nefficiency = 0.7"), WELLS, "",
        ("Take the others out",),
    ),
    # ---- soils and water ----
    "code to an unknown soil": (
        (CODES, '[borings.codes]\nSA = "snad"'), "borings.codes.SA", "snad",
        ("Did you mean 'sand'?",),
    ),
    "vertical above horizontal": (
        ('kv = "6e-5 m/s"', "kv = 6e-2"), "soils.sand.kv", "0.06",
        ("10 times kh (0.0002 m/s)", "swapped?"),
    ),
    "neither conductivity nor grain size": (
        ('kh = "2e-4 m/s" ', "#"), "soils.sand", "", ("Add kh", "d10"),
    ),
    "storage from a stiffness nobody gives": (
        ('ss = 2e-5\nweight = "20 kN/m3"\ncompression = { e_oed = "40 MPa" }',
         'ss = "auto"\nweight = "20 kN/m3"'), "soils.sand.ss", "auto", ("Add compression",),
    ),
    "water below the model": (
        (LEVEL, "level = -25 #"), "water.level", "-25.00 m at the pit", ("floor (-14.00 m)",),
    ),
    "two natural levels": (("# plane =", "plane ="), "water", "", ("level and plane are given",)),
    "no natural level": ((LEVEL, "#"), "water", "", ("none is given",)),
    "level of an aquifer nobody has": (
        (SOURCE, f"levels = {{ snad = 2.0 }}\n{SOURCE}"), "water.levels.snad", "",
        ("Did you mean 'sand'?",),
    ),
    "no water at all": (
        (SOURCE, f'edge = "no flow"\n{SOURCE}'), "water.edge", "no flow",
        ("a river or fixed_head boundary",),
    ),
    "river without a place": (
        boundary('kind = "river"\nstage = 2.2\nbed_conductance = 1e-6\n'), "water.boundary.0", "",
        ("exactly one of line or polygon", "none is given"),
    ),
    "river a line and an area": (
        boundary(
            f'kind = "river"\n{AWAY}polygon = [[1, 2], [3, 4], [5, 6]]\nstage = 2.2\n'
            "bed_conductance = 1e-6\n"
        ), "water.boundary.0", "", ("line and polygon are given",),
    ),
    "river through the pit": (
        boundary(f'kind = "river"\n{ACROSS}stage = 2.2\nbed_conductance = 1e-6\n'),
        "water.boundary.0", "river", ("outside the pit",),
    ),
    "bed above the water": (
        boundary(f'kind = "river"\n{AWAY}stage = 2.2\nbed_conductance = 1e-6\nbed = 3\n'),
        "water.boundary.0.bed", "3.0", ("not above the stage (2.2 m)",),
    ),
    "head in a soil nobody has": (
        boundary(f'kind = "fixed_head"\n{AWAY}head = 2.5\nsoils = ["snad"]\n'),
        "water.boundary.0.soils", "snad", ("Did you mean 'sand'?",),
    ),
    # ---- names and grid ----
    "schemes of one name": (
        ("[[points]]  ", '[[schemes]]\nname = "six wells"\n\n[[points]]  '), "schemes.1.name",
        "six wells", ("another name",),
    ),
    "schemes of one folder": (
        ("[[points]]  ", '[[schemes]]\nname = "Six: wells"\n[[schemes]]\nname = "six? wells"\n'
         "[[points]]  "),
        "schemes.2.name", "six? wells", ("folder differs from that of 'Six: wells'",),
    ),
    "points of one name": (
        ("", '[[points]]\nname = "house next door"\nx = 1\ny = 2'), "points.1.name",
        "house next door", ("another name",),
    ),
    "walls of one name": (
        ("", '[[walls]]\nname = "Sheet  Pile 1"\nkind = "slurry"\ntoe = -9'),
        "walls.1.name", "Sheet  Pile 1", ("another name than that of walls.0",),
    ),
    "drainage tables of one name": (
        ("", '[[schemes]]\nname = "both"\n'
         '[[schemes.drainage]]\nmethod = "relief wells"\nname = "R"\n'
         'ring = { offset = -2, count = 4 }\nscreen = [-9, -7]\ndiameter = 0.3\n'
         '[[schemes.drainage]]\nmethod = "relief wells"\nname = "r"\n'
         'ring = { offset = -3, count = 3 }\nscreen = [-9, -7]\ndiameter = 0.3'),
        "schemes.1.drainage.1.name", "r", ("another name than that of schemes.1.drainage.0",),
    ),
    "grid within the source": (
        ("", "[grid]\nextent = 10"), "grid.extent", "10.0", ("source distance of 300 m",),
    ),
    "grid beyond any machine": (
        ("", "[grid]\ncell = 0.02\nlargest = 0.05"), "grid", None,
        ("at most 2 million", "grid.cells"),
    ),
    # ---- pumps and losses of wells ----
    "curve whose heads rise": (
        ('capacity = "20 m3/h", head = "15 m"', 'curve = [["4 m3/h", 9], ["9 m3/h", 20]]'),
        f"{WELLS}.pump.curve", None, ("flows rising and heads falling",),
    ),
    "curve beside a capacity": (
        ('head = "15 m"', 'curve = [["4 m3/h", 20], ["9 m3/h", 9]]'), f"{WELLS}.pump", None,
        ("either curve or capacity with head",),
    ),
    "two tellings of a loss": (
        ("pump = {", "efficiency = 0.8\nwell_loss = { c = 900 }\npump = {"), WELLS, None,
        ("only one of skin or filter, efficiency, and well_loss",),
    ),
    "screen wider than its filter": (
        ("pump = {", "screen_diameter = 2.0\nfilter_k = 1e-3\npump = {"),
        f"{WELLS}.screen_diameter", "2.0", ("stands within its filter",),
    ),
    # ---- what changes in time ----
    "stage of a river in a file that is not there": (
        boundary(f'kind = "river"\n{AWAY}stage = "stage.csv"\nbed_conductance = 1e-6\n'),
        "water.boundary.0.stage", "stage.csv", ("no such file", "columns day and stage"),
    ),
    "held level in a file that is not there": (
        boundary(f'kind = "fixed_head"\n{AWAY}head = "tide.csv"\n'), "water.boundary.0.head",
        "tide.csv", ("no such file",),
    ),
    "recharge in a file that is no table": (
        boundary('kind = "recharge"\nrate = "ground.tif"\n'), "water.boundary.0.rate",
        "ground.tif", ("columns day and rate",),
    ),
}
# fmt: on


@pytest.mark.parametrize("name", CASES)
def test_refused(name: str, site: Any, wellring: Any, refused: Any) -> None:
    change, place, value, words = CASES[name]
    site.change(change)
    (told,) = refused(wellring("check", site.file))
    assert (told.file, told.place) == ("site.toml", place)
    assert value is None or told.value == value
    for word in words:
        assert word in told.said
    assert told.line is not None
    rows = site.file.read_text(encoding="utf-8").split("\n")
    key = [part for part in place.split(".") if not part.isdigit()][-1]
    below = "\n".join(rows[told.line - 1 : told.line + 1])
    assert key in below or f"[{key}" in below


def _warned(file: Path) -> str:
    site = read_site(file)
    layout = lay_out(site, site.description.schemes[0])
    return "\n".join([*site.warnings, *layout.warnings, *layout.assumptions])


#: What may be meant but is more often a slip → (old, new), words of the warning or assumption.
ASKED_TWICE: dict[str, tuple[tuple[str, str], str]] = {
    "conductivity of a torrent": (
        ('kh = "2e-4 m/s"', "kh = 0.2"),
        "soils.sand.kh is 0.2 m/s, more than clean gravel",
    ),
    "water above the ground": ((LEVEL, "level = 25 #"), "is 25.00 m, 21.00 m above the ground"),
    "river above the ground": (
        boundary(f'kind = "river"\n{AWAY}stage = 22\nbed_conductance = 1e-6\n'),
        "water.boundary.0.stage is 22 m, 18.00 m above the ground",
    ),
    "river of no width": (
        boundary(f'kind = "river"\n{AWAY}stage = 2\nbed_conductance = 1e-6\n'),
        "river 1: 10 m wide (no width given)",
    ),
    "toe below the model": (("toe = -6.0", "toe = -60.0"), "walls.0.toe lies up to 46.00 m below"),
    "point beyond the model": (
        ("x = 466045.0", "x = 468045.0"),
        "point 'house next door' lies outside the model",
    ),
}


@pytest.mark.parametrize("name", ASKED_TWICE)
def test_asked_twice(name: str, site: Any) -> None:
    change, words = ASKED_TWICE[name]
    assert words not in _warned(site.file)
    site.change(change)
    assert words in _warned(site.file)
