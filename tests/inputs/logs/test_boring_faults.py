"""Each fault of boring logs in CSV files, one case each: it names file, place and value."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest
from shapely import box

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.logs.read_borings import read_borings
from wellring.inputs.site.site import Borings

SOILS = ("fill", "sand", "clay")
COLLARS = "id,x,y,ground,final_depth\nB1,100,10200,5,10\nB2,130,10210,5.5,8\n"
LAYERS = (
    "id,top_depth,bottom_depth,soil\n"
    "B1,0,2,fill\nB1,2,6,sand\nB1,6,10,clay\n"
    "B2,0,3,sand\nB2,3,8,clay\n"
)
WATER = "id,date,level,soil,kind\nB1,2024-03-01,2.5,sand,level\nB2,2024-03-02T10:30,1.5,,strike\n"


def three(
    collars: str | bytes = COLLARS, layers: str | bytes = LAYERS, water: str | bytes = WATER
) -> dict[str, str | bytes]:
    return {"collars.csv": collars, "layers.csv": layers, "water.csv": water}


def swap(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new)


def collars(old: str, new: str) -> dict[str, str | bytes]:
    return three(collars=swap(COLLARS, old, new))


def layers(old: str, new: str) -> dict[str, str | bytes]:
    return three(layers=swap(LAYERS, old, new))


def water(old: str, new: str) -> dict[str, str | bytes]:
    return three(water=swap(WATER, old, new))


LEVELS = "id,top_level,bottom_level,soil\nB1,5,3,fill\nB1,3,-5,clay\nB2,5.5,-2.5,sand\n"
AREA = box(0, 10000, 300, 10300)

#: What is wrong → files, file, place, value, words of the message.
FAULTY: dict[str, tuple[dict[str, str | bytes], str, str, str, tuple[str, ...]]] = {
    "gap": (
        layers("B1,2,6,", "B1,2.5,6,"), "layers.csv", "row 3, column top_depth", "2.5",
        ("2, the bottom of the layer above (row 2)", "a gap of 0.50 m"),
    ),
    "overlap": (
        layers("B1,2,6,", "B1,1.5,6,"), "layers.csv", "row 3, column top_depth", "1.5",
        ("2, the bottom of the layer above (row 2)", "an overlap of 0.50 m"),
    ),
    "upside-down depths": (
        layers("B1,2,6,", "B1,6,2,"), "layers.csv", "row 3, column bottom_depth", "2",
        ("below the top 6", "upside-down"),
    ),
    "upside-down levels": (
        three(layers=swap(LEVELS, "B1,3,-5,", "B1,-5,3,")), "layers.csv",
        "row 3, column bottom_level", "3", ("below the top -5", "upside-down"),
    ),
    "zero thickness": (
        layers("B1,2,6,", "B1,2,2,sand\nB1,2,6,"), "layers.csv", "row 3, column bottom_depth", "2",
        ("zero thickness",),
    ),
    "layer thinner than the round-off": (
        layers("B1,2,6,", "B1,1.992,1.998,clay\nB1,2,6,"), "layers.csv",
        "row 3, column top_depth", "1.992", ("thicker than the round-off",),
    ),
    "unknown soil": (
        layers("B1,2,6,sand", "B1,2,6,snad"), "layers.csv", "row 3, column soil", "snad",
        ("Did you mean 'sand'?", "[borings.codes]"),
    ),
    "no soil": (
        layers("B1,2,6,sand", "B1,2,6,"), "layers.csv", "row 3, column soil", "", ("a soil",),
    ),
    "duplicate id": (
        three(collars=COLLARS + "B1,190,10260,5,10\n"), "collars.csv", "row 4, column id", "B1",
        ("row 2 of collars.csv", "another id"),
    ),
    "duplicate collar": (
        three(collars=COLLARS + "B1,100,10200,5,10\n"), "collars.csv", "row 4, column id", "B1",
        ("row 2 of collars.csv", "delete one"),
    ),
    "duplicate layer": (
        layers("B1,2,6,sand\n", "B1,2,6,sand\nB1,2,6,sand\n"), "layers.csv", "row 4, column id",
        "B1", ("each layer once",),
    ),
    "duplicate reading": (
        three(water=WATER + "B1,2024-03-01,2.5,sand,level\n"), "water.csv", "row 4, column id",
        "B1", ("each reading once",),
    ),
    "layers without a collar": (
        three(layers=LAYERS + "B1a,0,3,sand\nB1a,3,4,clay\n"), "layers.csv", "row 7, column id",
        "B1a", ("2 layers have none", "Did you mean 'B1'?"),
    ),
    "reading without a collar": (
        three(water=WATER + "P9,2024-03-01,2.5,,\n"), "water.csv", "row 4, column id", "P9",
        ("a boring with a collar",),
    ),
    "collar without layers": (
        three(collars=COLLARS + "B3,190,10260,5,10\n"), "collars.csv", "row 4, column id", "B3",
        ("layers for each boring",),
    ),
    "same place": (
        collars("B2,130,10210", "B2,100.05,10200"), "collars.csv", "row 3, column x",
        "100.05, 10200", ("B1 stands 0.05 m away",),
    ),
    "x and y swapped": (
        collars("B2,130,10210", "B2,10210,130"), "collars.csv", "row 3, column x", "10210, 130",
        ("x and y swapped?",),
    ),
    "place in feet": (
        collars("B2,130,10210", "B2,426.5,33497"), "collars.csv", "row 3, column x", "426.5, 33497",
        ("x [ft]",),
    ),
    "far off": (
        collars("B2,130,10210", "B2,130,90000"), "collars.csv", "row 3, column x", "130, 90000",
        ("km away",),
    ),
    "no number": (
        layers("B1,2,6,", "B1,2,six,"), "layers.csv", "row 3, column bottom_depth", "six",
        ("a finite number",),
    ),
    "number with a unit": (
        collars("B2,130,10210,5.5", "B2,130,10210,18 ft"), "collars.csv", "row 3, column ground",
        "18 ft", ("ground [ft]",),
    ),
    "thousands": (
        collars('B2,130,10210,5.5', 'B2,130,10210,"5,5"'), "collars.csv", "row 3, column ground",
        "5,5", ("decimal point",),
    ),
    "blank number": (
        layers("B1,2,6,", "B1,2,,"), "layers.csv", "row 3, column bottom_depth", "", ("blank",),
    ),
    "NaN": (collars("B2,130", "B2,nan"), "collars.csv", "row 3, column x", "nan", ("finite",)),
    "infinity": (
        water("02T10:30,1.5", "02T10:30,inf"), "water.csv", "row 3, column level", "inf",
        ("finite",),
    ),
    "absurd number": (
        collars("210,5.5", "210,1e5"), "collars.csv", "row 3, column ground", "1e5",
        ("between -2000 and 9000 m",),
    ),
    "no id": (
        layers("B2,3,8,", ",3,8,"), "layers.csv", "row 6, column id", "", ("name of a boring",),
    ),
    "first layer below the ground": (
        layers("B2,0,3,", "B2,1,3,"), "layers.csv", "row 5, column top_depth", "1",
        ("depth 0", "B2"),
    ),
    "first level not that of the collar": (
        three(layers=swap(LEVELS, "B2,5.5,", "B2,6.5,")), "layers.csv",
        "row 4, column top_level", "6.5", ("level 5.50 m",),
    ),
    "deeper than the boring": (
        layers("B2,3,8,", "B2,3,9,"), "layers.csv", "row 6, column bottom_depth", "9",
        ("ends at level -2.50 m", "depth 8.00 m"),
    ),
    "end above the ground": (
        collars("210,5.5,8", "210,5.5,-8"), "collars.csv", "row 3, column final_depth", "-8",
        ("below its ground level 5.50 m",),
    ),
    "levels in columns of depths": (
        three(layers=LEVELS.replace("level", "depth")), "layers.csv", "row 2, column top_depth",
        "5", ("look like levels", "top_level"),
    ),
    "depths in columns of levels": (
        three(layers=LAYERS.replace("depth", "level")), "layers.csv", "row 2, column top_level",
        "0", ("look like depths", "top_depth"),
    ),
    "depth with a sign": (
        layers("B2,3,8,", "B2,-3,-8,"), "layers.csv", "row 6, column top_depth", "-3",
        ("depth of 0 or more",),
    ),
    "plain top and bottom that fall": (
        three(layers=LEVELS.replace("_level", "")), "layers.csv", "row 2, column top", "5",
        ("top_depth and bottom_depth, or top_level and bottom_level",),
    ),
    "mixed datums": (
        three(
            collars="id,x,y,ground,datum\nB1,100,10200,5,Old mark\nB2,130,10210,5.5,New mark\n"
            "B3,180,10210,5,old mark\n",
            layers=LAYERS + "B3,0,4,sand\n",
        ),
        "collars.csv", "row 3, column datum", "New mark", ("mixed datums", "Old mark"),
    ),
    "ground far from the site's": (
        collars("B2,130,10210,5.5,8", "B2,130,10210,45.5,8"), "collars.csv", "row 3, column ground",
        "45.5", ("5.00 m there", "mixed datums"),
    ),
    "missing column": (
        layers("id,top_depth,", "id,top_deepth,"), "layers.csv", "header",
        "id, top_deepth, bottom_depth, soil", ("a column top_depth", "Did you mean 'top_deepth'?"),
    ),
    "missing ground": (
        collars("ground", "gl"), "collars.csv", "header", "id, x, y, gl, final_depth",
        ("a column ground",),
    ),
    "missing level": (
        water("level,soil", "head,soil"), "water.csv", "header", "id, date, head, soil, kind",
        ("a column level or depth",),
    ),
    "both depths and levels": (
        layers("soil\n", "soil,top_level\n"), "layers.csv", "header",
        "top_depth, bottom_depth, top_level", ("only one of",),
    ),
    "column twice": (
        layers("soil\n", "soil,Soil\n"), "layers.csv", "header", "soil", ("each column once",),
    ),
    "strange unit": (
        layers("top_depth", "top_depth [kg]"), "layers.csv", "header, column top_depth [kg]", "kg",
        ("a unit of length",),
    ),
    "unknown table": (
        three(water="name,remark\nB1,x\n"), "water.csv", "header", "name, remark",
        ("the columns of collars",),
    ),
    "header only": (
        three(water="id,date,level\n"), "water.csv", "rows", "", ("rows of water",),
    ),
    "long row": (
        layers("B1,2,6,sand", "B1,2,6,sand,with, gravel"), "layers.csv", "row 3", "6 cells",
        ("4 cells", "quotation marks"),
    ),
    "open quotation mark": (
        layers("B1,2,6,sand", 'B1,2,6,"sand'), "layers.csv", "rows", "EOF inside string",
        ("quotation mark that is not closed",),
    ),
    "empty file": (three(water=" \n"), "water.csv", "whole file", "", ("The file is empty",)),
    "binary file": (
        three(water=WATER.encode("utf-16")), "water.csv", "encoding", "", ("Save it as UTF-8",),
    ),
    "not UTF-8": (
        three(layers=LAYERS.replace("soil\n", "soil,remark\n").replace(
            "sand\nB1,6", "sand,gris\xe2tre\nB1,6").encode("cp1252")),
        "layers.csv", "byte 17 of the line", "e2", ("UTF-8",),
    ),
    "bad date": (
        water("2024-03-01", "01/03/2024"), "water.csv", "row 2, column date", "01/03/2024",
        ("YYYY-MM-DD",),
    ),
    "impossible date": (
        water("2024-03-01", "2024-02-30"), "water.csv", "row 2, column date", "2024-02-30",
        ("a date",),
    ),
    "absurd year": (
        water("2024-03-01", "0024-03-01"), "water.csv", "row 2, column date", "0024-03-01",
        ("between 1900 and 2100",),
    ),
    "unknown kind": (
        water(",strike", ",stirke"), "water.csv", "row 3, column kind", "stirke",
        ("level or strike", "Did you mean 'strike'?"),
    ),
    "unknown soil of a reading": (
        water("2.5,sand", "2.5,silt"), "water.csv", "row 2, column soil", "silt", ("codes",),
    ),
    "water far above the ground": (
        water("01,2.5,", "01,25.5,"), "water.csv", "row 2, column level", "25.5",
        ("at most 20 m above the ground of B1 (5.00 m)", "name the column depth"),
    ),
    "water below the boring": (
        water("01,2.5,", "01,-6.5,"), "water.csv", "row 2, column level", "-6.5",
        ("above the end of B1 (-5.00 m)", "name the column depth"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", FAULTY)
def test_each_fault_names_file_place_and_value(case: str, tmp_path: Path) -> None:
    files, file, place, value, words = FAULTY[case]

    def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(x < 1e3, 5.0, np.nan)

    for name, content in files.items():
        (tmp_path / name).write_bytes(content.encode() if isinstance(content, str) else content)
    faults = FaultLog()
    read_borings(Borings(files=tuple(files)), tmp_path, SOILS, faults, area=AREA, ground=ground)
    assert len(faults.faults) == 1, "\n".join(map(str, faults.faults))
    fault = faults.faults[0]
    assert (fault.file, fault.place) == (file, place)
    if case == "open quotation mark":
        assert value in fault.value
    else:
        assert fault.value == value
    for word in words:
        assert word in str(fault)
    if "row" in place.split() and place.startswith("row "):
        assert fault.line == int(place.split()[1].strip(","))


@pytest.mark.skipif(sys.platform == "win32", reason="links and pipes")
@pytest.mark.parametrize("what", ["a pipe", "a link in a circle", "a device"])
def test_what_is_no_file_is_not_waited_for(what: str, tmp_path: Path) -> None:
    """A pipe without a writer never ends, nor does a device of zeros; both are refused at once."""
    path = tmp_path / "layers.csv"
    if what == "a pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero" if what == "a device" else path)
    (tmp_path / "collars.csv").write_text(COLLARS)
    faults = FaultLog()
    read_borings(Borings(files=("collars.csv", "layers.csv")), tmp_path, SOILS, faults, area=AREA)
    assert any(fault.file == "layers.csv" for fault in faults.faults), str(faults.faults)
