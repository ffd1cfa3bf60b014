"""Checks of the layers of borings against one another and against their collars."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.logs.log_tables import TOLERANCE, Reporter
from wellring.inputs.logs.soil_codes import map_soils

if TYPE_CHECKING:
    import pandas as pd


def checked_layers(
    layers: pd.DataFrame,
    collars: pd.DataFrame,
    soils: Collection[str],
    codes: Mapping[str, str],
    reporter: Reporter,
) -> pd.DataFrame:
    """Check the layers and give them as levels.

    Returns
    -------
    DataFrame : `id`, `top`, `bottom` (levels [m]) and `soil` of the borings whose log is whole,
        each boring from the ground downward, without gaps and with equal neighbours merged.
    """
    layers = layers.copy()
    layers["soil"] = map_soils(layers, ("soil", "legend", "description"), soils, codes, reporter)
    same = layers.duplicated(["id", "top", "bottom", "soil"]) & layers["ok"]
    again = layers[same]
    reporter.report(
        again, "id", again["id"], "each layer once; an earlier row is the same", "Delete the row"
    )
    layers = layers[~same]
    reporter.faulty.update(layers["id"][~layers["ok"]])
    place = collars.set_index("id")
    layers["ground"] = layers["id"].map(place["ground"])
    layers["final"] = layers["id"].map(place["final"])
    usable = layers["ground"].notna() & layers["ok"]
    # The neighbours of a row that could not be read would seem to leave a gap.
    unread = layers["id"].isin(layers["id"][~usable])
    _check_rows(layers[usable], reporter)
    layers = _as_levels(layers[usable & ~unread], reporter)
    layers = _check_neighbours(layers, reporter)
    layers = layers[~layers["id"].isin(reporter.faulty)]
    return _merged(layers)


def _check_rows(layers: pd.DataFrame, reporter: Reporter) -> None:
    """Report layers of no thickness, upside-down ones and depths above the ground."""
    down = np.where(layers["depth"], 1.0, -1.0)
    thickness = (layers["bottom"] - layers["top"]) * down
    flat = layers[thickness.abs() < 1e-6]
    remedy = "Delete the row or correct its top and bottom"
    values = flat["top_text"]
    reporter.report(flat, "bottom", values, "a bottom below the top (zero thickness)", remedy)
    turned = thickness <= -1e-6
    confused = turned & _confused(layers, turned)
    negative = layers[["top", "bottom"]].min(axis=1) < -TOLERANCE
    above = layers["depth"] & negative & ~confused
    rows = layers[above]
    remedy = "Depths are counted downward from the ground; are these levels, or depths with a sign?"
    column = "top" if (rows["top"] < -TOLERANCE).any() else "bottom"
    reporter.report(rows, column, rows[f"{column}_text"], "a depth of 0 or more", remedy)
    for (_, depth), rows in layers[confused].groupby(["source", "depth"], sort=False):
        given, other = ("depths", "level") if depth else ("levels", "depth")
        expected = f"{given} (all {rows['id'].nunique()} such borings look like {other}s)"
        remedy = f"Name the columns top_{other} and bottom_{other} if that is what they hold"
        reporter.report(rows.head(1), "top", rows["top_text"], expected, remedy)
        reporter.faulty.update(rows["id"])
    rows = layers[turned & ~confused & ~above]
    below = [
        f"a bottom below the top {top}: a {'greater depth' if depth else 'lower level'} "
        "(the layer is upside-down)"
        for top, depth in zip(rows["top_text"], rows["depth"], strict=True)
    ]
    reporter.report(rows, "bottom", rows["bottom_text"], below, "Swap top and bottom?")


def _confused(layers: pd.DataFrame, turned: pd.Series) -> pd.Series:
    """Whether a boring's rows are all upside-down and start where the other meaning would.

    Levels in columns of depths start near the ground level; depths in columns of levels near 0.
    """
    boring = [layers["source"], layers["id"]]
    all_turned = turned.groupby(boring).transform("all")
    highest = layers["top"].groupby(boring).transform("max")
    lowest = layers["top"].groupby(boring).transform("min")
    as_levels = layers["depth"] & ((highest - layers["ground"]).abs() <= 0.5)
    as_depths = ~layers["depth"] & (lowest.abs() <= TOLERANCE)
    ends_at_ground = layers["bottom"].groupby(boring).transform("max") - layers["ground"]
    return all_turned & (as_levels | (as_depths & (ends_at_ground.abs() > TOLERANCE)))


def _as_levels(layers: pd.DataFrame, reporter: Reporter) -> pd.DataFrame:
    """Layers with `top` above `bottom` as levels [m], each boring from the ground downward."""
    layers = layers[~layers["id"].isin(_ids_in_doubt(layers))].copy()
    for edge in ("top", "bottom"):
        layers[edge] = layers[edge].where(~layers["depth"], layers["ground"] - layers[edge])
        # To the micrometre, so that a depth and the level it means give the same log.
        layers[edge] = layers[edge].round(6)
    edges = layers[["top", "bottom"]].to_numpy()
    # Upside-down rows are reported already; turned back they do not show as gaps too.
    layers["top"], layers["bottom"] = edges.max(axis=1), edges.min(axis=1)
    layers = layers[layers["top"] - layers["bottom"] >= 1e-6]
    return layers.sort_values(["id", "top"], ascending=[True, False], kind="stable")


def _ids_in_doubt(layers: pd.DataFrame) -> pd.Series:
    """Borings whose columns hold the other of depths and levels, so that no check would fit."""
    down = np.where(layers["depth"], 1.0, -1.0)
    turned = (layers["bottom"] - layers["top"]) * down < 0
    negative = layers["depth"] & (layers[["top", "bottom"]].min(axis=1) < -TOLERANCE)
    return layers["id"][(turned & _confused(layers, turned)) | negative]


def _check_neighbours(layers: pd.DataFrame, reporter: Reporter) -> pd.DataFrame:
    """Report gaps, overlaps, a wrong start and a wrong end; close what is round-off."""
    layers = layers.reset_index(drop=True)
    first = ~layers.duplicated("id")
    last = ~layers.duplicated("id", keep="last")
    # The lowest bottom so far, so that a layer within a thicker one does not show as a gap below.
    lowest = layers.groupby("id", sort=False)["bottom"].cummin().shift(1)
    step = (layers["top"] - lowest).where(~first)
    above = layers.shift(1)
    for word, wrong in (("gap", step < -TOLERANCE), ("overlap", step > TOLERANCE)):
        rows, upper = layers[wrong], above[wrong]
        expected = [
            f"{bottom}, the bottom of the layer above ({reporter.tables[int(s)].row_text(int(r))});"
            f" there is {'a gap' if word == 'gap' else 'an overlap'} of {size:.2f} m"
            for bottom, s, r, size in zip(
                upper["bottom_text"], upper["source"], upper["row"], step[wrong].abs(), strict=True
            )
        ]
        remedy = (
            "Log what lies between, or move one of the two"
            if word == "gap"
            else "Move one of the two"
        )
        reporter.report(rows, "top", rows["top_text"], expected, remedy)
    off = first & ((layers["top"] - layers["ground"]).abs() > TOLERANCE)
    rows = layers[off]
    expected = [
        f"the first layer of {name} at the ground: "
        + ("depth 0" if depth else f"level {ground:.2f} m, the collar's")
        for name, depth, ground in zip(rows["id"], rows["depth"], rows["ground"], strict=True)
    ]
    remedy = "Add the layer above it, or correct the collar; another datum, or depths for levels?"
    reporter.report(rows, "top", rows["top_text"], expected, remedy)
    below = last & (layers["bottom"] < layers["final"] - TOLERANCE)
    rows = layers[below]
    expected = [
        f"a bottom not deeper than the boring, which ends at level {final:.2f} m "
        f"(depth {ground - final:.2f} m)"
        for final, ground in zip(rows["final"], rows["ground"], strict=True)
    ]
    reporter.report(rows, "bottom", rows["bottom_text"], expected, "Correct one of the two")
    short = layers[last & (layers["bottom"] > layers["final"] + TOLERANCE)]
    for name, bottom, final in zip(short["id"], short["bottom"], short["final"], strict=True):
        reporter.faults.warn(
            f"boring {name} is not logged below level {bottom:.2f} m although it ends at "
            f"{final:.2f} m; taken to end where its log does"
        )
    snapped = layers["top"].mask(~first, above["bottom"]).mask(first, layers["ground"])
    vanished = layers[(snapped <= layers["bottom"]) & ~layers["id"].isin(reporter.faulty)]
    thickness = f"a layer thicker than the round-off of {TOLERANCE:g} m"
    reporter.report(vanished, "top", vanished["top_text"], thickness, "Join it with its neighbour")
    layers["top"] = snapped
    return layers


def _merged(layers: pd.DataFrame) -> pd.DataFrame:
    """Consecutive layers of the same soil in one boring as one."""
    above = layers.shift(1)
    run = ((layers["soil"] != above["soil"]) | (layers["id"] != above["id"])).cumsum()
    return layers.groupby(run, sort=False).agg(
        id=("id", "first"), top=("top", "first"), bottom=("bottom", "last"), soil=("soil", "first")
    )
