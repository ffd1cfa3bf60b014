"""Styles QGIS reads, so that layers open ready to look at: symbols by rule, and raster ramps.

Written as QML, QGIS's own open style format: in the GeoPackage's table ``layer_styles`` and as a
file beside each GeoTIFF. Every colour pair differs in lightness and lies on the blue–orange axis,
so that it can be told apart with any colour vision and in grey print.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

import numpy as np

QML_VERSION = "3.22.0"
_DOCTYPE = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"

RAMP = ("#f3efe0", "#c3d6cd", "#7fafb8", "#3d7a9c", "#1b4a76", "#0c2344")
"""From light to dark, lightness falling evenly: light is undisturbed, dark is drawn down."""

INK = "#22303c"
WATER = "#1f6fa8"
WARM = "#d9731a"
GREY = "#8c8c86"
EARTH = "#8a6a3b"


@dataclass(frozen=True)
class Symbol:
    """How a thing is drawn: `geometry` marker, line or fill, and the properties of its layer."""

    geometry: str
    properties: dict[str, str]


@dataclass(frozen=True)
class Rule:
    """A symbol for the features that `where` (a QGIS expression, "" for all) selects."""

    label: str
    symbol: Symbol
    where: str = ""


@dataclass(frozen=True)
class Labels:
    """What is written beside features: an expression, and along lines or beside points."""

    expression: str
    along: bool = False


_LAYER_CLASS = {"marker": "SimpleMarker", "line": "SimpleLine", "fill": "SimpleFill"}


def rgba(colour: str, alpha: float = 1.0) -> str:
    """'#rrggbb' as QGIS writes colours: 'r,g,b,a', each 0–255."""
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    return ",".join(str(part) for part in [*parts, round(255 * alpha)])


def ramp_colour(share: float) -> str:
    """The colour at `share` (0–1) of :data:`RAMP`, as '#rrggbb'."""
    stops = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in RAMP], dtype=float)
    at = np.linspace(0.0, 1.0, len(RAMP))
    red, green, blue = (round(float(np.interp(share, at, stops[:, k]))) for k in range(3))
    return f"#{red:02x}{green:02x}{blue:02x}"


def marker(shape: str, colour: str, size: float = 2.6) -> Symbol:
    """A point symbol; `size` [mm]."""
    return Symbol(
        "marker",
        {
            "name": shape,
            "color": rgba(colour),
            "outline_color": rgba("#ffffff"),
            "outline_width": "0.3",
            "size": f"{size:g}",
            "size_unit": "MM",
        },
    )


def line(colour: str, width: float, dash: str = "solid") -> Symbol:
    """A line symbol; `width` [mm]."""
    return Symbol(
        "line",
        {
            "line_color": rgba(colour),
            "line_style": dash,
            "line_width": f"{width:g}",
            "line_width_unit": "MM",
            "joinstyle": "round",
        },
    )


def fill(colour: str, alpha: float, edge: str = "", width: float = 0.3) -> Symbol:
    """A polygon symbol; no edge where `edge` is empty, no filling where `alpha` is 0."""
    return Symbol(
        "fill",
        {
            "color": rgba(colour, alpha),
            "style": "solid" if alpha > 0 else "no",
            "outline_color": rgba(edge or colour, 1.0 if edge else 0.0),
            "outline_style": "solid" if edge else "no",
            "outline_width": f"{width:g}",
            "outline_width_unit": "MM",
        },
    )


def vector_style(rules: Sequence[Rule], labels: Labels | None = None) -> str:
    """QML of a vector layer drawn by rules.

    Properties are written twice, as QGIS ≥ 3.18 and as older versions read them.
    """
    root = ElementTree.Element(
        "qgis",
        version=QML_VERSION,
        styleCategories="Symbology|Labeling",
        labelsEnabled="1" if labels else "0",
    )
    renderer = ElementTree.SubElement(
        root, "renderer-v2", type="RuleRenderer", symbollevels="0", enableorderby="0"
    )
    listed = ElementTree.SubElement(renderer, "rules", key="{wellring}")
    symbols = ElementTree.SubElement(renderer, "symbols")
    for number, rule in enumerate(rules):
        entry = ElementTree.SubElement(
            listed, "rule", key=f"{{{number}}}", symbol=str(number), label=rule.label
        )
        if rule.where:
            entry.set("filter", rule.where)
        _add_symbol(symbols, number, rule.symbol)
    if labels:
        _add_labels(root, labels)
    return _text(root)


def _add_symbol(parent: ElementTree.Element, number: int, symbol: Symbol) -> None:
    element = ElementTree.SubElement(
        parent, "symbol", type=symbol.geometry, name=str(number), alpha="1", clip_to_extent="1"
    )
    layer_class = _LAYER_CLASS[symbol.geometry]
    layer = ElementTree.SubElement(
        element, "layer", {"class": layer_class, "pass": "0", "locked": "0", "enabled": "1"}
    )
    options = ElementTree.SubElement(layer, "Option", type="Map")
    for name, value in symbol.properties.items():
        ElementTree.SubElement(options, "Option", name=name, type="QString", value=value)
    for name, value in symbol.properties.items():
        ElementTree.SubElement(layer, "prop", k=name, v=value)


def _add_labels(root: ElementTree.Element, labels: Labels) -> None:
    labeling = ElementTree.SubElement(root, "labeling", type="simple")
    settings = ElementTree.SubElement(labeling, "settings", calloutType="simple")
    style = ElementTree.SubElement(
        settings,
        "text-style",
        fieldName=labels.expression,
        isExpression="1",
        fontSize="8",
        fontSizeUnit="Point",
        textColor=rgba(INK),
        textOpacity="1",
    )
    ElementTree.SubElement(
        style,
        "text-buffer",
        bufferDraw="1",
        bufferSize="0.8",
        bufferSizeUnits="MM",
        bufferColor=rgba("#ffffff"),
        bufferOpacity="0.85",
    )
    # 2: along a line; 6: around a point, at the best of the places that cartographers prefer.
    place = {"placement": "2", "placementFlags": "9"} if labels.along else {"placement": "6"}
    ElementTree.SubElement(settings, "placement", {**place, "dist": "1", "distUnits": "MM"})
    ElementTree.SubElement(settings, "rendering", obstacle="1", drawLabels="1")


def raster_style(low: float, high: float, unit: str, dark_low: bool = False) -> str:
    """QML of a one-band raster between two values, coloured by :data:`RAMP`.

    Parameters
    ----------
    unit : follows each number of the legend.
    dark_low : the dark end stands for the low values (levels), not for the high ones (drawdown).
    """
    values = np.linspace(low, high, len(RAMP))
    colours = RAMP[::-1] if dark_low else RAMP
    root = ElementTree.Element("qgis", version=QML_VERSION, styleCategories="Symbology")
    pipe = ElementTree.SubElement(root, "pipe")
    renderer = ElementTree.SubElement(
        pipe,
        "rasterrenderer",
        type="singlebandpseudocolor",
        band="1",
        opacity="1",
        alphaBand="-1",
        nodataColor="",
        classificationMin=f"{low:.6g}",
        classificationMax=f"{high:.6g}",
    )
    ElementTree.SubElement(renderer, "rasterTransparency")
    shader = ElementTree.SubElement(renderer, "rastershader")
    ramp = ElementTree.SubElement(
        shader,
        "colorrampshader",
        colorRampType="INTERPOLATED",
        classificationMode="1",
        clip="0",
        minimumValue=f"{low:.6g}",
        maximumValue=f"{high:.6g}",
        labelPrecision="2",
    )
    for value, colour in zip(values, colours, strict=True):
        ElementTree.SubElement(
            ramp, "item", value=f"{value:.6g}", color=colour, alpha="255",
            label=f"{value:.2f} {unit}",
        )  # fmt: skip
    ElementTree.SubElement(root, "blendMode").text = "0"
    return _text(root)


def contour_rules(levels: Sequence[float], column: str = "drawdown", unit: str = "m") -> list[Rule]:
    """One rule a level: the more, the darker and the wider."""
    rules = []
    for number, level in enumerate(levels):
        share = (number + 1) / len(levels)
        symbol = line(ramp_colour(0.3 + 0.7 * share), 0.2 + 0.4 * share)
        rules.append(Rule(f"{level:g} {unit}", symbol, f'abs("{column}" - {level:g}) < 1e-6'))
    return rules


def zone_rules(bounds: Sequence[float]) -> list[Rule]:
    """One filled rule a zone of settlement from each bound [mm] up: the more, the darker."""
    rules = []
    for number, low in enumerate(bounds):
        share = (number + 1) / len(bounds)
        symbol = fill(ramp_colour(0.15 + 0.75 * share), 0.6, INK, 0.15)
        rules.append(Rule(f"from {low:g} mm", symbol, f'abs("from_mm" - {low:g}) < 1e-6'))
    return rules


def reach_rules(levels: Sequence[float]) -> list[Rule]:
    """One outline a drawdown [m] of the influence."""
    rules = []
    for number, level in enumerate(levels):
        share = (number + 1) / len(levels)
        colour = ramp_colour(0.3 + 0.7 * share)
        where = f'abs("drawdown_m" - {level:g}) < 1e-6'
        rules.append(Rule(f"{level:g} m and more", fill(colour, 0.08, colour, 0.5), where))
    return rules


def state_rules(drawn: Callable[[tuple[str, float], bool], Symbol]) -> list[Rule]:
    """One rule a state of a neighbour; `drawn` gets colour and opacity, and whether it is over."""
    looks = {
        "over a limit": (WARM, 0.85),
        "within limits": (WATER, 0.45),
        "no limit given": (GREY, 0.2),
        "not assessed": (GREY, 0.6),
    }
    return [
        Rule(state, drawn(look, state == "over a limit"), f"\"state\" = '{state}'")
        for state, look in looks.items()
    ]


NAME_LABELS = Labels('"name"')


def style_of(layer: str, contour_levels: Sequence[float]) -> str:
    """QML of one of the layers of a run by its kind.

    Raises
    ------
    KeyError : there is no layer of that kind.
    """
    if layer == "drawdown":
        return vector_style(contour_rules(contour_levels), Labels("\"drawdown\" || ' m'", True))
    if layer == "settlement":
        rules = contour_rules(contour_levels, "settlement_mm", "mm")
        return vector_style(rules, Labels("\"settlement_mm\" || ' mm'", True))
    if layer == "settlement_zones":
        return vector_style(zone_rules(contour_levels))
    if layer == "influence":
        return vector_style(reach_rules(contour_levels))
    styles: dict[str, tuple[list[Rule], Labels | None]] = {
        "model_extent": ([Rule("edge of the model", fill(GREY, 0.0, GREY, 0.4))], None),
        "excavation": ([Rule("excavation", fill(EARTH, 0.15, EARTH, 0.5))], None),
        "walls": (
            [
                Rule("holds water", line(INK, 0.9), '"holds_water"'),
                Rule("holds soil only", line(GREY, 0.6, "dash"), 'not "holds_water"'),
            ],
            NAME_LABELS,
        ),
        "floor": (
            [
                Rule("dry enough", fill(WATER, 0.55), "\"state\" = 'dry'"),
                Rule("water too high", fill(WARM, 0.8), "\"state\" = 'too high'"),
                Rule("tight soil, not judged", fill(GREY, 0.5), "\"state\" = 'tight soil'"),
            ],
            None,
        ),
        "stability": (
            [
                Rule("held", fill(WATER, 0.55), '"used" <= 1'),
                Rule("not held", fill(WARM, 0.8), '"used" > 1'),
                Rule("nothing to judge", fill(GREY, 0.5), '"used" is null'),
            ],
            None,
        ),
        "wells": (
            [
                Rule("works as wanted", marker("circle", WATER),
                     "\"governing\" not in ('pump', 'screen', 'dry', 'no inflow', 'not used')"),
                Rule("at the limit of pump or screen", marker("diamond", WARM, 3.2),
                     "\"governing\" in ('pump', 'screen')"),
                Rule("gives no water", marker("cross_fill", GREY),
                     "\"governing\" in ('dry', 'no inflow', 'not used')"),
            ],
            NAME_LABELS,
        ),
        "neighbours_areas": (
            state_rules(lambda name, over: fill(*name, INK, 0.7 if over else 0.3)), NAME_LABELS
        ),
        "neighbours_lines": (
            state_rules(lambda name, over: line(name[0], 1.4 if over else 0.6)), NAME_LABELS
        ),
        "neighbours_points": (
            state_rules(lambda name, over: marker("diamond" if over else "circle", name[0], 3.2)),
            NAME_LABELS,
        ),
        "travel_paths": ([Rule("fastest way of the water", line(WARM, 0.8, "dash"))], NAME_LABELS),
        "borings": ([Rule("boring", marker("square", EARTH, 2.2))], NAME_LABELS),
        "points": ([Rule("named point", marker("triangle", INK, 2.4))], NAME_LABELS),
    }  # fmt: skip
    drawn, labels = styles[layer]
    return vector_style(drawn, labels)


def _text(root: ElementTree.Element) -> str:
    ElementTree.indent(root, " ")
    return _DOCTYPE + ElementTree.tostring(root, encoding="unicode") + "\n"
