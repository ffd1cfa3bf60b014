"""Water in the pores of the dig's own ground, from real runs of a closed box and an open pit."""

from collections.abc import Callable
from pathlib import Path

import pytest

from wellring.model.runs.run import Run, run
from wellring.postprocess.operation.drained_pores import drainable

WELL = {"points": [[6.0, 6.0], [14.0, 6.0]], "screen": [-11.0, -2.0], "diameter": "300 mm",
        "hold": -6.0}  # fmt: skip
BOX = {"kind": "slurry", "toe": -14.0, "k": 1e-9, "thickness": 0.8}
Sites = Callable[..., Path]


def _run(place: Path, plain_site: Sites, *walls: dict[str, object]) -> Run:
    path = plain_site(
        place, layers=(("sand", -12.0), ("clay", -16.0)), walls=walls, drainage=[WELL],
        soils={"sand": (1e-4, 1e-4), "clay": (1e-9, 1e-9)}, cell=4.0,
    )  # fmt: skip
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('name = "dig 1"', 'name = "dig 1"\nday = 0\nlasts = 60'))
    (done,) = run(path, figures=False, side_studies=False)
    return done


def test_a_closed_box_tells_what_its_steady_discharge_leaves_out(
    tmp_path: Path, plain_site: Sites
) -> None:
    """By hand: 20 x 12 m of sand of sy 0.2 drained from -1 m to the wells' -6 m: 240 m3; of the
    clay nothing. In the open the same water is little beside what comes in 60 days."""
    box = _run(tmp_path / "box", plain_site, BOX)
    before, after = (
        drainable(box.reader, s.grid, s.heads)
        for s in (box.answers.stages[0], *box.answers.stages[-1:])
    )
    assert before == pytest.approx(240.0 * 0.2 * 11.0, rel=1e-3)
    assert before - after == pytest.approx(240.0, rel=0.02)
    volume = box.answers.answers["discharge_volume"].value
    assert isinstance(volume, float)
    assert volume < 240.0
    (told,) = [text for text in box.answers.warnings if "stand in the pores" in text]
    assert f"about {before - after:,.0f} m³" in told
    assert "add [time]" in told

    pit = _run(tmp_path / "pit", plain_site)
    assert not any("stand in the pores" in text for text in pit.answers.warnings)
