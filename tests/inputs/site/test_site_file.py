"""Reading a site file: what comes back, its defaults, its lines, and the files it rests on."""

from __future__ import annotations

import dataclasses
import hashlib
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from wellring.inputs.basics.explain import shown
from wellring.inputs.basics.faults import Fault, FaultLog, InputFaults, nearest
from wellring.inputs.basics.toml_text import TomlFaults, line_of, load_toml
from wellring.inputs.read_site import Site, read_description, read_site
from wellring.inputs.site.drainage import DeepWells
from wellring.inputs.site.site import FixedHead, Plane, River, SiteDescription
from wellring.inputs.site.soil_tables import hazen_conductivity

ROOT = Path(__file__).parents[3]
START = ROOT / "model" / "start"
MILLRACE = ROOT / "examples" / "millrace_yard" / "site.toml"


@pytest.fixture
def start(tmp_path: Path) -> Path:
    """A copy of the start site's file, to be changed."""
    shutil.copytree(START, tmp_path / "start")
    return tmp_path / "start" / "site.toml"


@pytest.fixture(scope="module")
def site() -> Site:
    return read_site(START / "site.toml")


def described(text: str) -> SiteDescription:
    """The description of the start site with some tables replaced by those of `text`."""
    tables = tomllib.loads((START / "site.toml").read_text())
    faults = FaultLog()
    found = read_description({**tables, **tomllib.loads(text)}, "site.toml", faults)
    faults.raise_if_any()
    assert found is not None
    return found


# ---- what comes back ----


def test_quantities_are_si(site: Site) -> None:
    soils, wells = site.description.soils, site.description.schemes[0].drainage[0]
    assert isinstance(wells, DeepWells)
    assert wells.pump is not None
    assert (soils["sand"].kh, soils["sand"].kv, soils["sand"].weight) == (2e-4, 6e-5, 20e3)
    compression = soils["clay"].compression
    assert compression is not None
    assert compression.mv == pytest.approx(1e-7)
    assert compression.cv == pytest.approx(30 / (365.25 * 86400))
    assert (wells.method, wells.diameter, wells.screen) == ("deep wells", 0.3, (-8.5, -1.0))
    assert wells.pump.capacity == pytest.approx(20 / 3600)
    assert site.outline.area == pytest.approx(600.0)
    assert len(site.logs.borings) == 5


def test_what_is_left_out_has_a_default() -> None:
    found = described("[site]\nname = 'a'\ncrs = 'EPSG:32633'\nground = 4.0")
    assert (found.site.show, found.site.invented) == ("metric", False)
    assert (found.water.edge, found.excavation.clearance) == ("fixed head", 0.5)
    assert found.borings.surfaces == "kriging"
    assert (found.neighbours, found.operations, found.grid.cell) == ((), None, None)


def test_nothing_can_be_changed(site: Site) -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        site.file = Path("other.toml")  # type: ignore[misc]
    with pytest.raises(ValidationError, match="frozen"):
        site.description.site.name = "other"
    with pytest.raises(TypeError):
        site.files["site.toml"] = ""  # type: ignore[index]
    with pytest.raises(TypeError):
        site.geometries["walls.0"] = site.outline  # type: ignore[index]


def test_conductivity_from_a_grain_size() -> None:
    found = described(
        "[soils.sand]\nd10 = '0.2 mm'\n[soils.fill]\nkh = 1e-5\n[soils.clay]\nkh = 1e-9"
    )
    assert found.soils["sand"].kh is None
    assert found.soils["sand"].horizontal_k == hazen_conductivity(2e-4)
    # Hazen (1892): k [cm/s] = C·d10² [cm²] with C about 100 (value from memory).
    assert found.soils["sand"].horizontal_k == pytest.approx(4e-4, rel=0.3)


def test_levels_and_planes_of_single_aquifers() -> None:
    water = described(
        "[water]\nlevel = 2.5\nlevels.sand = '8 ft'\n"
        "levels.fill = { point = [1, 2], level = 3, gradient = '1/500', toward = 90 }"
    ).water
    assert water.levels["sand"] == pytest.approx(8 * 0.3048)
    assert water.levels["fill"] == Plane(point=(1, 2), level=3, gradient=0.002, toward=90)


def test_boundaries_by_kind() -> None:
    boundaries = described(
        "[water]\nlevel = 2.5\n"
        "[[water.boundary]]\nkind = 'river'\nline = [[0, 0], [9, 0]]\nstage = 2\n"
        "bed_conductance = '0.0864 1/day'\n"
        "[[water.boundary]]\nkind = 'fixed_head'\npolygon = 'lake.geojson'\nhead = '1 ft'\n"
        "[[water.boundary]]\nkind = 'recharge'\nrate = '200 mm/year'\n"
    ).water.boundary
    assert [item.kind for item in boundaries] == ["river", "fixed_head", "recharge"]
    river, lake = boundaries[:2]
    assert isinstance(river, River)
    assert river.bed_conductance == pytest.approx(1e-6)
    assert river.line == ((0.0, 0.0), (9.0, 0.0))
    assert isinstance(lake, FixedHead)
    assert (lake.polygon, lake.head) == ("lake.geojson", pytest.approx(0.3048))


def test_shapes_by_their_place() -> None:
    site = read_site(MILLRACE)
    places = set(site.geometries)
    assert {"walls.0", "water.boundary.0"} <= places
    assert all(shape.distance(site.outline) < 1000 for shape in site.geometries.values())


# ---- files and their hashes ----


def test_files_are_named_with_their_hash(site: Site) -> None:
    assert set(site.files) == {"site.toml", "collars.csv", "layers.csv"}
    for name, digest in site.files.items():
        assert digest == hashlib.sha256((START / name).read_bytes()).hexdigest()


def test_one_hash_over_all_files(start: Path, site: Site) -> None:
    assert read_site(start).sha256 == site.sha256
    for name in ("collars.csv", "site.toml"):
        before = read_site(start).sha256
        path = start.parent / name
        path.write_text(path.read_text() + ("\n" if name.endswith("csv") else "\n# seen\n"))
        assert read_site(start).sha256 != before


def test_every_file_of_the_example_is_hashed() -> None:
    site = read_site(MILLRACE)
    named = {"site.toml", "ground.tif", "pit.geojson", "wall.geojson", "river.geojson"}
    assert named <= set(site.files)
    assert "piezometers.csv" in site.files
    assert all(len(digest) == 64 for digest in site.files.values())


def test_read_from_any_folder(monkeypatch: pytest.MonkeyPatch, start: Path, site: Site) -> None:
    monkeypatch.chdir(start.parent.parent)
    found = read_site("start/site.toml")
    assert found.description == site.description
    assert found.sha256 == site.sha256


# ---- lines ----

TEXT = """# remark
[site]
name = "a"   # remark
"crs" = 'x'
notes = '''
[not.a.table]
'''
[excavation]
corners = [
  [466000.0, 5918000.0],
  [466030.0, 5918020.0]
]
clearance = 0.5
[soils."silty, sand"]
kh = 1e-5
compression.mv = 1e-7
[soils.clay]
compression = { mv = 1e-7, cv = 1 }
[[schemes]]
name = "one"
[[schemes.drainage]]
method = "deep wells"
[[schemes.drainage]]
ring = { offset = 1 }
[[schemes]]
name = "two"
  [[schemes.drainage]]
  method = "sump"
"""


@pytest.fixture
def lines(tmp_path: Path) -> dict[str, int]:
    (tmp_path / "a.toml").write_text(TEXT)
    faults = FaultLog()
    loaded = load_toml(tmp_path / "a.toml", faults)
    assert loaded is not None
    assert loaded[0] == tomllib.loads(TEXT)
    return loaded[1]


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ("site", "[site]"),
        ("site.name", "name = "),
        ("site.crs", '"crs"'),
        ("site.ground", "[site]"),
        ("excavation.corners", "corners"),
        ("excavation.corners.1.0", "corners"),
        ("excavation.clearance", "clearance"),
        ("soils.silty, sand.kh", "kh = 1e-5"),
        ("soils.silty, sand.compression.mv", "compression.mv"),
        ("soils.clay.compression.cv", "compression = {"),
        ("schemes", "[[schemes]]"),
        ("schemes.0.name", 'name = "one"'),
        ("schemes.1.name", 'name = "two"'),
        ("schemes.0.drainage.0.method", 'method = "deep wells"'),
        ("schemes.0.drainage.1.ring.offset", "ring"),
        ("schemes.1.drainage.0.method", 'method = "sump"'),
        ("schemes.1.drainage.0.hold", "[[schemes.drainage]]"),
    ],
)
def test_line_of_a_place(place: str, text: str, lines: dict[str, int]) -> None:
    number = line_of(place, lines)
    assert number is not None
    assert TEXT.split("\n")[number - 1].strip().startswith(text)


def test_line_of_nothing(lines: dict[str, int]) -> None:
    assert line_of("grid.cell", lines) is None


def test_faults_found_later_know_their_line(site: Site) -> None:
    faults = site.fault_log()
    faults.add("site.toml", "walls.0.toe", -6.0, "another level")
    faults.add("layers.csv", "walls.0.toe", -6.0, "another level")
    here, elsewhere = faults.faults
    text = (START / "site.toml").read_text().split("\n")
    assert here.line is not None
    assert text[here.line - 1].startswith("toe = -6.0")
    assert elsewhere.line is None


# ---- wording ----


def test_wording_of_a_fault() -> None:
    fault = Fault("site.toml", "soils.sand.kh", "fast", "a number", "Measure it.", 12)
    assert str(fault) == "site.toml:12: soils.sand.kh is 'fast'; expected a number. Measure it."
    assert str(Fault("a.csv", "row 2", "", "a soil")) == "a.csv: row 2; expected a soil"


def test_hostile_values_stay_on_one_short_line() -> None:
    text = str(Fault("site.toml", "site.name", "\x1b[2J\n" * 100, "text"))
    assert "\n" not in text
    assert "\x1b" not in text
    assert len(text) < 200


def test_all_faults_stand_in_one_message() -> None:
    faults = TomlFaults(file="a.toml", lines={"x": 3})
    faults.add("a.toml", "x", 1, "two")
    faults.add("b.csv", "row 1", None, "a row")
    with pytest.raises(InputFaults) as caught:
        faults.raise_if_any()
    assert str(caught.value).split("\n") == [
        "2 faults in the input",
        "  - a.toml:3: x is '1'; expected two",
        "  - b.csv: row 1; expected a row",
    ]
    assert caught.value.exit_code == 2


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        (1.5, "1.5"),
        ("", "(empty text)"),
        ([1, [True, "a"]], "[1, [true, a]]"),
        (list(range(9)), "[0, 1, 2, 3, 4, 5, …]"),
        ({"a": 1}, None),
        ([{"a": 1}], "[{…}]"),
        (None, None),
    ],
)
def test_values_are_shown_as_toml_writes_them(value: Any, text: str | None) -> None:
    assert shown(value) == text


def test_nearest_known_word() -> None:
    assert nearest("clearence", ["clearance", "corners"]) == "Did you mean 'clearance'?"
    assert nearest("zzz", ["b", "a"]) == "Known here: a, b"
    assert nearest("zzz", []) == ""
