"""Every command shows an example, and what READMEs tell a user to type exists."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer.main

from wellring.model.commands.cli import app

ROOT = Path(__file__).parents[2]
COMMANDS: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]


def known(words: list[str]) -> None:
    """Whether a line of a terminal names a command and options that exist, with their values."""
    assert words[0] == "wellring"
    command = COMMANDS[words[1]]
    options = {
        name: option
        for option in command.params
        if option.param_type_name == "option"
        for name in (*option.opts, *option.secondary_opts)
    }
    places = sum(item.param_type_name == "argument" for item in command.params)
    rest = words[2:]
    given = 0
    while rest:
        word = rest.pop(0)
        if word.startswith("--"):
            assert word in options, f"{' '.join(words)}: no option {word}"
            if not options[word].is_flag:
                assert rest, f"{' '.join(words)}: {word} has no value"
                rest.pop(0)
        else:
            given += 1
    assert given <= places, f"{' '.join(words)}: too many places"


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_help_has_an_example_that_exists(name: str, wellring: Callable[..., Any]) -> None:
    done = wellring(name, "--help")
    assert done.code == 0
    text = " ".join(done.out.split())
    found = re.search(rf"Example: (wellring {name}\b.*?) (?=Arguments:|Options:)", text)
    assert found, done.out
    known(shlex.split(found[1]))


def told_to_type() -> list[tuple[str, str]]:
    """Lines that the READMEs tell a user to type, from their blocks and from the text."""
    found = []
    for path in (ROOT / "README.md", *sorted(ROOT.glob("examples/*/README.md"))):
        text = path.read_text(encoding="utf-8")
        blocks = "\n".join(re.findall(r"^ *```bash\n(.*?)^ *```", text, re.DOTALL | re.MULTILINE))
        lines = re.findall(r"^ *(wellring [a-z].*)$", blocks, re.MULTILINE)
        lines += re.findall(r"`(wellring [a-z][^`]*)`", text)
        lines += [f"wellring {rest}" for rest in re.findall(r"bin/wellring ([^&`\n]*)", text)]
        found += [(path.parent.name, line.partition("  #")[0].strip()) for line in lines]
    return found


@pytest.mark.parametrize(("readme", "line"), told_to_type())
def test_readmes_tell_commands_that_exist(readme: str, line: str) -> None:
    known(shlex.split(line))


def test_every_command_stands_in_the_readme() -> None:
    lines = [line for readme, line in told_to_type() if readme == ROOT.name]
    assert {line.split()[1] for line in lines} >= set(COMMANDS)
