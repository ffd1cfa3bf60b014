"""`wellring report RUN --soils FILE`: other stiffnesses without solving again."""

import hashlib
import json
from pathlib import Path

import pytest

from wellring.model.commands import cli
from wellring.model.runs.run import report
from wellring.postprocess.run.run_folder import RunFolder

SOFTER = '[soils.clay]\ncompression = { mv = "1.5 m2/MN" }\n'


def written(folder: Path) -> dict[Path, int]:
    return {path: path.stat().st_mtime_ns for path in folder.rglob("*")}


def largest(run: Path) -> float:
    answers = json.loads((run / "answers.json").read_text(encoding="utf-8"))
    (value,) = (
        a["value"] for n, a in answers.items() if n.endswith("02-final-dig.settlement_largest")
    )
    return value


def test_softer_clay_settles_more_and_is_recorded(start_copy: Path, tmp_path: Path) -> None:
    assert RunFolder(start_copy).description.soils["clay"].compression.mv < 1.5e-6
    report(start_copy, figures=False)
    first, solved = largest(start_copy), (start_copy / "run.json").read_bytes()
    soils = tmp_path / "softer.toml"
    soils.write_text(SOFTER)
    models = written(start_copy / "mf6")
    done = report(start_copy, soils=soils, figures=False)
    assert written(start_copy / "mf6") == models  # nothing was solved
    assert largest(start_copy) > 1.2 * first
    source = json.loads((start_copy / "run.json").read_text())["reassessed"]["soils"]
    assert source == {
        "file": "softer.toml",
        "sha256": hashlib.sha256(SOFTER.encode()).hexdigest(),
    }
    assert any("softer.toml" in text for text in done.answers.assumptions)
    # Reported without it, the run is again what it was.
    report(start_copy, figures=False)
    assert largest(start_copy) == first
    assert (start_copy / "run.json").read_bytes() == solved


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[soils.cley]\ncompression = { mv = "1 m2/MN" }', ("softer.toml:1", "soils.cley", "clay")),
        ("[soils.clay]\nkh = 1e-9", ("soils.clay", "compression")),
        ('[soils.clay]\ncompression = { mv = "1 m2/MN", e_oed = "5 MPa" }', ("exactly one of",)),
        (
            "[soils.clay]\ncompression = { cc = 0.3, e0 = 1.0, ocr = 2, pop = 1e4 }",
            ("ocr or pop",),
        ),
        ("[soils.clay\n", ("softer.toml",)),
        ("", ("soils",)),
    ],
)
def test_a_wrong_file_is_told_and_changes_nothing(
    start_copy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str,
    words: tuple[str, ...],
) -> None:  # fmt: skip
    soils = tmp_path / "softer.toml"
    soils.write_text(text)
    before = {path: path.read_bytes() for path in start_copy.glob("*.json")}
    with pytest.raises(SystemExit) as stopped:
        cli.app(["report", str(start_copy), "--soils", str(soils)], standalone_mode=True)
    assert stopped.value.code == 2
    told = capsys.readouterr().err
    for word in ("softer.toml", *words):
        assert word in told, told
    assert {path: path.read_bytes() for path in start_copy.glob("*.json")} == before


def test_a_missing_file_is_told(
    start_copy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        cli.app(["report", str(start_copy), "--soils", str(tmp_path / "no.toml")])
    assert stopped.value.code == 2
    assert "no.toml" in capsys.readouterr().err
