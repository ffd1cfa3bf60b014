"""Cells where they pay: long pits, many points, wide boundaries, and a target for their number."""

import numpy as np
import pytest

from wellring.inputs.basics.faults import InputFaults
from wellring.inputs.read_site import read_site
from wellring.model.layouts.layout import lay_out

ANGLE = np.radians(23.0)
SOILS = {"sand": (1e-4, 5e-5), "gravel": (5e-4, 2e-4)}
LAYERS = [("sand", -7.0), ("gravel", -14.0)]


def turned(places):
    cos, sin = np.cos(ANGLE), np.sin(ANGLE)
    return [(round(cos * x - sin * y, 3), round(sin * x + cos * y, 3)) for x, y in places]


TRENCH = turned([(0, 0), (180, 0), (180, 6), (0, 6)])


def laid_out(path):
    site = read_site(path)
    return lay_out(site, site.description.schemes[0])


def cells(layout):
    return int(np.prod(layout.ground.layers.present.shape))


@pytest.fixture
def trench(plain_site, tmp_path):
    def made(count=140, **keys):
        ring = {"ring": {"offset": 1.5, "count": count}, "screen": [-9.0, -5.5], "hold": -5.4}
        path = plain_site(
            tmp_path,
            pit=TRENCH,
            layers=LAYERS,
            soils=SOILS,
            formations=(-4.5,),
            source=250.0,
            cell=None,
            sublayer=None,
            walls=[{"kind": "sheet pile", "line": "outline", "toe": -8.5,
                    "joint_resistance": 3e-7, "pile_width": 0.6}],
            drainage=[{**ring, "diameter": 0.2}],
            **keys,
        )  # fmt: skip
        return laid_out(path)

    return made


def test_a_trench_with_140_points_needs_about_the_cells_of_one_without(trench):
    """As lines of their own the points made 1.1 million cells of it, the smallest 0.21 m."""
    many, few = trench(140), trench(4)
    assert cells(many) < 450_000
    assert cells(many) < 1.6 * cells(few)


def test_a_target_is_met_and_said(trench):
    layout = trench(140, grid={"cells": 100_000})
    assert 80_000 < cells(layout) <= 105_000
    said = [text for text in layout.assumptions if "grid.cells" in text]
    assert len(said) == 1
    assert "times as large as by default" in said[0]


def test_a_target_above_the_default_changes_nothing(trench):
    plain, wide = trench(30), trench(30, grid={"cells": 5_000_000})
    assert wide.plan.shape == plain.plan.shape
    assert not any("grid.cells" in text for text in wide.assumptions)


def test_a_target_that_no_grid_meets_is_refused(trench):
    with pytest.raises(InputFaults, match=r"grid\.cells.*at least"):
        trench(30, grid={"cells": 1000, "extent": 9000.0, "largest": 1.0})


def test_levels_held_around_a_turned_pit_ask_for_no_fine_cells_far_off(plain_site, tmp_path):
    """A lake's shore around the pit, 150 m off and askew: its inside is at no distance."""
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    shore = [(90 + 240 * np.cos(a), 40 + 160 * np.sin(a)) for a in angle]
    layout = laid_out(
        plain_site(
            tmp_path,
            pit=TRENCH,
            layers=LAYERS,
            soils=SOILS,
            source=300.0,
            cell=None,
            sublayer=None,
            boundaries=[
                {"kind": "fixed_head", "polygon": shore, "head": -1.0, "soils": ["gravel"]}
            ],
            drainage=[{"ring": {"offset": 2.0, "count": 4}, "screen": [-9.0, -5.5],
                       "diameter": 0.3, "hold": -5.0}],
        )
    )  # fmt: skip
    assert np.prod(layout.plan.shape) < 40_000


def test_a_site_of_too_many_cells_is_led_out_by_the_message(plain_site, tmp_path):
    keys = {
        "pit": TRENCH,
        "source": 400.0,
        "drainage": [{"points": [(0.0, -9.0)], "screen": [-9.0, -5.0], "diameter": 0.3,
                      "hold": -5.0}],
    }  # fmt: skip
    with pytest.raises(InputFaults, match=r"million.*grid\.cells, such as cells = 300_000"):
        laid_out(plain_site(tmp_path, **keys, grid={"largest": 0.4}))
    layout = laid_out(plain_site(tmp_path, **keys, grid={"largest": 0.4, "cells": 300_000}))
    assert cells(layout) < 320_000
