"""Values and tables of a site file that are wrong in themselves.

Each case changes one thing in a site that works. The message must name the file, the line, the
place and the value, say what was expected, and tell nothing else.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from wellring.inputs.site.site import Soil

KH = 'kh = "2e-4 m/s"'
SHEET_PILES = 'kind = "sheet pile"  '
LINE = 'line = "outline"  '
RING = "ring = { offset = -1.5, count = 6 }"
PUMP = 'pump = { capacity = "20 m3/h", head = "15 m", efficiency = 0.55 }'
CORNERS = (
    "corners = [[466000.0, 5918000.0], [466030.0, 5918000.0], [466030.0, 5918020.0], "
    "[466000.0, 5918020.0]]"
)
BOUNDARY = "# [[water.boundary]]  "
RIVER = 'kind = "river"\nline = [[466000, 5917900], [466100, 5917900]]\n'
SEEPAGE = 'bed_conductance = "1e-6 1/s"\n'
LEVEL = "level = 2.5      "
SOURCE = "source_distance = 300.0  "
CODES = (
    "# [borings.codes]                 # only where the logs use other words than the soils below\n"
    '# SA = "sand"'
)
COMPRESSION = 'mv = "0.1 m2/MN", cv'
WELLS = "schemes.0.drainage.0"


def river(tables: str) -> tuple[str, str]:
    return BOUNDARY, f"[[water.boundary]]\n{tables}#"


# fmt: off
#: What is wrong → (old, new), place, value, words of the message.
CASES: dict[str, tuple[tuple[str, str], str, str, tuple[str, ...]]] = {
    # ---- keys ----
    "key misspelt": (
        ("clearance = 0.5", "clearence = 0.5"), "excavation.clearence", "",
        ("a key this table knows", "Did you mean 'clearance'?"),
    ),
    "key unlike any": (
        ("sy = 0.22", "sy = 0.22\nviscosity = 0.3"), "soils.sand.viscosity", "",
        (f"Known here: {', '.join(sorted(Soil.model_fields))}",),
    ),
    "key of an inline table misspelt": (
        ("{ capacity =", "{ capacty ="), f"{WELLS}.pump.capacty", "", ("'capacity'",),
    ),
    "key of one kind of table misspelt": (
        ("hold = -4.0", "hold = -4.0\nfrom_stag = 1"), f"{WELLS}.from_stag", "",
        ("'from_stage'",),
    ),
    "table misspelt": (("[soils.sand]", "[soil.sand]"), "soil", "", ("Did you mean 'soils'?",)),
    "key missing": (
        ('crs = "EPSG:32633"', "#"), "site.crs", "",
        ("which is missing", 'Add crs = "EPSG:32633"'),
    ),
    "kind of wall missing": (
        (SHEET_PILES, "#"), "walls.0.kind", "", ('one of "sheet pile", "secant pile"',),
    ),
    "method missing": (
        ('method = "deep wells"', "#"), f"{WELLS}.method", "",
        ("which is missing", '"deep wells"'),
    ),
    "kind of boundary missing": (
        river("stage = 2.2\n"), "water.boundary.0.kind", "", ('"river", "fixed_head"',),
    ),
    "stage of a river missing": (
        river(RIVER + SEEPAGE), "water.boundary.0.stage", "", ("Add stage = 2.2",),
    ),
    # ---- units and magnitudes ----
    "units of a flow": (
        (KH, 'kh = "2e-4 m3/h"'), "soils.sand.kh", "2e-4 m3/h",
        ("a hydraulic conductivity", '"17 m/day"'),
    ),
    "word for a number": (
        (KH, 'kh = "fast"'), "soils.sand.kh", "fast", ("a hydraulic conductivity",),
    ),
    "mass for a weight": (
        ('"20 kN/m3"', '"2 g/cm3"'), "soils.sand.weight", "2 g/cm3", ('"18 kN/m3"',),
    ),
    "kN without saying so": (
        ('"20 kN/m3"', "20"), "soils.sand.weight", "20",
        ("from 5000 to 40000 N/m3", "A number alone is in N/m3", '"18 kN/m3"'),
    ),
    "millimetres without saying so": (
        ('"300 mm"', "300"), f"{WELLS}.diameter", "300",
        ("from 0.02 to 3 m", "A number alone is in m", '"300 mm"'),
    ),
    "m³/h without saying so": (
        ("hold = -4.0", "rate = 12"), f"{WELLS}.rate", "12", ("up to 2 m3/s", '"150 gpm"'),
    ),
    "negative": (
        (KH, "kh = -2e-4"), "soils.sand.kh", "-0.0002", ("from 1e-14 to 1 m/s",),
    ),
    "not a number": ((KH, "kh = nan"), "soils.sand.kh", "nan", ("2e-4",)),
    "infinite": ((KH, "kh = inf"), "soils.sand.kh", "inf", ("2e-4",)),
    "infinite level": (("ground = 4.0 ", "ground = -inf "), "site.ground", "-inf", ("a level",)),
    "1e300": ((KH, "kh = 1e300"), "soils.sand.kh", "1e+300", ("to 1 m/s",)),
    "digits beyond a float": (
        (KH, "kh = 1" + "0" * 400), "soils.sand.kh", "1" + "0" * 119 + "…", ("2e-4",),
    ),
    "digits beyond a float in text": (
        (KH, f'kh = "1{"0" * 400} m/s"'), "soils.sand.kh", "1" + "0" * 119 + "…", ("2e-4",),
    ),
    "empty text": ((KH, 'kh = ""'), "soils.sand.kh", "(empty text)", ("2e-4",)),
    "a date": ((KH, "kh = 2024-01-01"), "soils.sand.kh", "2024-01-01", ("2e-4",)),
    "a table": ((KH, "kh = { a = 1 }"), "soils.sand.kh", "", ("2e-4",)),
    "a boolean": ((KH, "kh = true"), "soils.sand.kh", "true", ("2e-4",)),
    "a list": ((KH, "kh = [1, 2]"), "soils.sand.kh", "[1, 2]", ("2e-4",)),
    "a boolean for a level": (
        ("ground = 4.0 ", "ground = true "), "site.ground", "true",
        ('"31 ft"', "or the name of a file"),
    ),
    "level beyond the earth": (
        ("ground = 4.0 ", "ground = 99999 "), "site.ground", "99999", ("from -2000 to 9000 m",),
    ),
    "yield in percent": (("sy = 0.22", "sy = 22"), "soils.sand.sy", "22", ("up to 0.6",)),
    "yield a boolean": (("sy = 0.22", "sy = true"), "soils.sand.sy", "true", ("a specific yield",)),
    "storage a word": (("ss = 2e-5", 'ss = "by hand"'), "soils.sand.ss", "by hand", ('"auto"',)),
    "storage negative": (("ss = 2e-5", "ss = -1"), "soils.sand.ss", "-1", ("above 1e-09",)),
    "day with a unit": (
        ("day = 21", 'day = "21 days"'), "excavation.stages.1.day", "21 days",
        ("a plain number such as 21",),
    ),
    "day a boolean": (("day = 21", "day = true"), "excavation.stages.1.day", "true", ("a day",)),
    "lasts less than nothing": (
        ("lasts = 90", "lasts = -90"), "excavation.stages.1.lasts", "-90", ("above 0",),
    ),
    "clearance negative": (
        ("clearance = 0.5", "clearance = -0.5"), "excavation.clearance", "-0.5", ("from 0",),
    ),
    "efficiency in percent": (
        ("efficiency = 0.55", "efficiency = 55"), f"{WELLS}.pump.efficiency", "55", ("up to 1",),
    ),
    "count a fraction": (
        ("count = 6", "count = 6.5"), f"{WELLS}.ring.count", "6.5", ("whole number from 1",),
    ),
    "count none": (("count = 6", "count = 0"), f"{WELLS}.ring.count", "0", ("from 1",)),
    "count a word": (("count = 6", 'count = "six"'), f"{WELLS}.ring.count", "six", ("whole",)),
    "count a boolean": (("count = 6", "count = true"), f"{WELLS}.ring.count", "true", ("whole",)),
    "rain in mm without saying so": (
        river('kind = "recharge"\nrate = 200\n'), "water.boundary.0.rate", "200",
        ("to 0.0001 m/s", '"200 mm/year"'),
    ),
    "conductance per length": (
        river(RIVER + 'stage = 2.2\nbed_conductance = "1e-6 m/s"\n'),
        "water.boundary.0.bed_conductance", "1e-6 m/s", ('"1e-6 1/s"',),
    ),
    "source nowhere": ((SOURCE, "source_distance = 0"), "water.source_distance", "0", ("above 0",)),
    "steep plane": (
        (LEVEL, "plane = { point = [1, 2], level = 2.5, gradient = 2, toward = 180 } #"),
        "water.plane.gradient", "2", ("from 0 to 1",),
    ),
    "cell of a millimetre": (("", "[grid]\ncell = 0.001"), "grid.cell", "0.001", ("from 0.02",)),
    "growth of five": (("", "[grid]\ngrowth = 5"), "grid.growth", "5", ("1.02 to 2",)),
    # ---- words ----
    "units shown": (
        ('show = "metric"', 'show = "imperial"'), "site.show", "imperial", ('"metric" or "us"',),
    ),
    "surfaces": (
        ('"kriging" ', '"krig" '), "borings.surfaces", "krig", ("Did you mean 'kriging'?",),
    ),
    "kind of wall": (
        (SHEET_PILES, 'kind = "sheetpile"'), "walls.0.kind", "sheetpile",
        ("Did you mean 'sheet pile'?",),
    ),
    "kind of boundary": (
        river('kind = "rivr"\nstage = 2.2\n'), "water.boundary.0.kind", "rivr",
        ("Did you mean 'river'?",),
    ),
    "method": (
        ('"deep wells"', '"deep well"'), f"{WELLS}.method", "deep well",
        ("Did you mean 'deep wells'?",),
    ),
    "method a number": (('"deep wells"', "5"), f"{WELLS}.method", "5", ('"deep wells"',)),
    "edge": ((SOURCE, f'edge = "closed"\n{SOURCE}'), "water.edge", "closed", ('"no flow"',)),
    "name a number": (('"Start here"', "12"), "site.name", "12", ("text in quotes",)),
    "name empty": (('"Start here"', '""'), "site.name", "(empty text)", ("1 to 80 characters",)),
    "invented neither": (
        ("invented = true", 'invented = "maybe"'), "site.invented", "maybe", ("true or false",),
    ),
    "crs a number": (('"EPSG:32633"', "32633"), "site.crs", "32633", ("text in quotes",)),
    "code to a number": ((CODES, "[borings.codes]\nSA = 5"), "borings.codes.SA", "5", ("text",)),
    # ---- shapes of tables and lists ----
    "files not a list": (
        ('["collars.csv", "layers.csv"]', '"collars.csv"'), "borings.files", "collars.csv",
        ('["collars.csv", "layers.csv"]',),
    ),
    "files none": (('["collars.csv", "layers.csv"]', "[]"), "borings.files", "[]", ("a list",)),
    "files numbers": (
        ('["collars.csv", "layers.csv"]', "[1, 2]"), "borings.files", "[1, 2]", ("texts",),
    ),
    "one table for a list of tables": (
        ("[[walls]]", "[walls]"), "walls", "", ("Write [[walls]] with two brackets",),
    ),
    "list of tables for one table": (
        ("[water]", "[[water]]"), "water", "", ("Write [water] with one bracket",),
    ),
    "number for a table": (
        (RING, "ring = 5"), f"{WELLS}.ring", "5", ("a table of offset, count, spacing",),
    ),
    "number for a pump": ((PUMP, "pump = 20"), f"{WELLS}.pump", "20", ("a table of capacity",)),
    "two corners": (
        (", [466030.0, 5918020.0], [466000.0, 5918020.0]]", "]"), "excavation.corners",
        "[[466000.0, 5918000.0], [466030.0, 5918000.0]]", ("at least 3 points",),
    ),
    "corner with three numbers": (
        ("[[466000.0, 5918000.0],", "[[466000.0, 5918000.0, 4.0],"), "excavation.corners",
        "[[466000.0, 5918000.0, 4.0], [466030.0, 5918000.0], [466030.0, 5918020.0], "
        "[466000.0, 5918020.0]]", ("Point 1 is [466000.0, 5918000.0, 4.0]", "[x, y]"),
    ),
    "corner with a unit": (
        (CORNERS, 'corners = [["1 m", 2], [3, 4], [5, 6]]'), "excavation.corners",
        "[[1 m, 2], [3, 4], [5, 6]]", ("Point 1 is ['1 m', 2]", "plain numbers"),
    ),
    "corner a boolean": (
        (CORNERS, "corners = [[1, 2], [true, 4], [5, 6]]"), "excavation.corners",
        "[[1, 2], [true, 4], [5, 6]]", ("Point 2",),
    ),
    "corner nowhere": (
        (CORNERS, "corners = [[1, 2], [nan, 4], [5, 6]]"), "excavation.corners",
        "[[1, 2], [nan, 4], [5, 6]]", ("Point 2", "finite"),
    ),
    "wall's line a number": (
        (LINE, "line = 4"), "walls.0.line", "4", ("line.geojson", "[[x, y], [x, y], …]"),
    ),
    "wall's line one point": (
        (LINE, "line = [[1, 2]]"), "walls.0.line", "[[1, 2]]", ("at least 2 points",),
    ),
    "row along a number": (
        (RING, "line = { along = 3, spacing = 8 }"), f"{WELLS}.line.along", "3", ("[x, y]",),
    ),
    "points none": ((RING, "points = []"), f"{WELLS}.points", "[]", ("at least 1 point",)),
    "points a word in one": (
        (RING, 'points = [[1, "x"]]'), f"{WELLS}.points", "[[1, x]]", ("Point 1 is [1, 'x']",),
    ),
    "screen one level": (
        ("[-8.5, -1.0]", "[-8.5]"), f"{WELLS}.screen", "[-8.5]", ("[bottom level, top level]",),
    ),
    "screen a word in it": (
        ("[-8.5, -1.0]", '[-8.5, "low"]'), f"{WELLS}.screen", "[-8.5, low]",
        ("'low' is not a level",),
    ),
    "toe a word": (("toe = -6.0", 'toe = "deep"'), "walls.0.toe", "deep", ("a level",)),
    "level of one aquifer a word": (
        (SOURCE, f'levels = {{ sand = "high" }}\n{SOURCE}'), "water.levels.sand", "high",
        ("a level",),
    ),
    "plane of one aquifer without its fall": (
        (SOURCE, f"levels = {{ sand = {{ point = [1, 2], level = 3, toward = 90 }} }}\n{SOURCE}"),
        "water.levels.sand.gradient", "", ("Add gradient = 0.002",),
    ),
    "point a word": (("x = 466045.0", 'x = "here"'), "points.0.x", "here", ("a coordinate",)),
    "point a boolean": (("x = 466045.0", "x = true"), "points.0.x", "true", ("a coordinate",)),
    "point nowhere": (("x = 466045.0", "x = inf"), "points.0.x", "inf", ("a coordinate",)),
    "compression by two laws": (
        (COMPRESSION, 'mv = "0.1 m2/MN", e_oed = "5 MPa", cv'), "soils.clay.compression", "",
        ("exactly one of mv, e_oed or cc", "Here mv and e_oed are given"),
    ),
    "compression index without void ratio": (
        (COMPRESSION, "cc = 0.2, cv"), "soils.clay.compression", "", ("Add e0",),
    ),
}
# fmt: on


@pytest.mark.parametrize("name", CASES)
def test_refused(name: str, site: Any, wellring: Any, refused: Any) -> None:
    change, place, value, words = CASES[name]
    site.change(change)
    (told,) = refused(wellring("check", site.file))
    assert (told.file, told.place) == ("site.toml", place)
    assert told.value == value
    for word in words:
        assert word in told.said
    _stands_there(site.file.read_text(encoding="utf-8"), told)


def _stands_there(text: str, told: Any) -> None:
    """The line of a message holds the key it is about, or heads the table it lacks."""
    keys = [part for part in told.place.split(".") if not part.isdigit()]
    if told.line is None:
        assert keys[0] == "soil"  # a table that only its parts' headings name
        return
    line = text.split("\n")[told.line - 1]
    near = keys[-1] if not told.said.startswith("this key") else keys[-2]
    assert re.search(rf"\b{near}\b", line) or f"{keys[-2]} = {{" in line, line


def test_all_faults_are_told_together(site: Any, wellring: Any, refused: Any) -> None:
    site.change(
        (KH, 'kh = "fast"'),
        ("clearance = 0.5", "clearence = 0.5"),
        ("count = 6", "count = 0"),
        ('show = "metric"', 'show = "si"'),
        ("day = 21", "day = true"),
    )
    found = refused(wellring("check", site.file))
    assert [told.place for told in found] == [
        "site.show",
        "soils.sand.kh",
        "excavation.stages.1.day",
        "excavation.clearence",
        f"{WELLS}.ring.count",
    ]


def test_run_refuses_as_check_does(site: Any, wellring: Any, refused: Any) -> None:
    site.change(("count = 6", "count = 0"))
    assert refused(wellring("run", site.file)) == refused(wellring("check", site.file))
    assert sorted(item.name for item in site.path.iterdir()) == [
        "README.txt",
        "collars.csv",
        "layers.csv",
        "site.toml",
    ]
