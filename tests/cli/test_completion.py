"""Completion in the real shells: what the shell itself offers after TAB, from the parsers and from the library."""

from __future__ import annotations

import os
import pty
import select
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., object]
Offer = Callable[[str], set[str]]

BASH = """
source <(meterlink completion bash)
COMP_LINE={line} COMP_POINT=${{#COMP_LINE}} COMP_TYPE=9 COMP_WORDS=({line_words}) COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))
$(complete -p meterlink | sed 's/.*-F \\([^ ]*\\).*/\\1/') meterlink
printf '%s\\n' "${{COMPREPLY[@]}}"
"""
FISH = "meterlink completion fish | source; complete --do-complete {line}"


@pytest.fixture
def offered(small_set: Run, tmp_path: Path) -> Offer:
    """What bash offers for a line that is typed so far."""
    if shutil.which("bash") is None:
        pytest.skip("bash is not installed")
    return lambda line: {
        one.strip() for one in _ask("bash", BASH.format(line=shlex.quote(line), line_words=_words(line)), tmp_path)
    }


def _words(line: str) -> str:
    return " ".join(shlex.quote(word) for word in line.split(" "))


def _ask(shell: str, script: str, folder: Path) -> list[str]:
    environment = _environment(folder)
    done = subprocess.run([shell, "-c", script], env=environment, capture_output=True, text=True, timeout=60, check=True)
    return done.stdout.splitlines()


def _environment(folder: Path) -> dict[str, str]:
    program = folder / "bin" / "meterlink"
    program.parent.mkdir(exist_ok=True)
    program.write_text(f"#!{sys.executable}\nfrom meterlink.cli.main import main\nraise SystemExit(main())\n")
    program.chmod(0o755)
    return {**os.environ, "PATH": f"{program.parent}:{os.environ['PATH']}", "TERM": "dumb"}


def test_a_verb_is_completed(offered: Offer) -> None:
    """``meterlink me`` may become meter or merge."""
    assert offered("meterlink me") == {"meter", "merge"}


def test_an_action_is_completed(offered: Offer) -> None:
    """``meterlink light mo`` is move."""
    assert offered("meterlink light mo") == {"move"}


def test_lights_of_the_set_are_offered(offered: Offer) -> None:
    """The names come from the library."""
    assert {"KEY", "FILL"} <= offered("meterlink meter ")
    assert offered("meterlink light move F") == {"FILL"}


def test_set_ups_are_offered(offered: Offer, small_set: Run) -> None:
    """Every set-up that is not archived, by name."""
    small_set("setup", "new", "Low")
    assert offered("meterlink setup use ") == {"Potter", "Low"}
    assert offered("meterlink ratios --setup P") == offered("meterlink ratios P") == offered("meterlink compare P") == {"Potter"}


def test_modifiers_of_the_kit_are_offered(offered: Offer, small_set: Run) -> None:
    """A modifier that some set knows is offered for another light."""
    small_set("light", "move", "KEY", "--modifier", "octa-90", "--fixture", "head-A")
    assert offered("meterlink light add HAIR oc") == {"octa-90"}
    assert offered("meterlink light move FILL --fixture ") == {"head-A"}


def test_no_library_offers_nothing_and_says_nothing(offered: Offer, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A shell that completes is not told of errors."""
    monkeypatch.setenv("METERLINK_LIBRARY", str(tmp_path / "none.sqlite"))

    assert offered("meterlink setup use ") <= {""}
    assert not (tmp_path / "none.sqlite").exists()


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_understand_what_is_printed(shell: str, ml: Run, tmp_path: Path) -> None:
    """The shell itself finds no error in it."""
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed")
    script = tmp_path / "completion"
    script.write_text(ml("completion", shell).out)

    subprocess.run([shell, "-n", str(script)], capture_output=True, check=True, timeout=60)


def test_fish_offers_lights(small_set: Run, tmp_path: Path) -> None:
    """Names from the library in fish too."""
    if shutil.which("fish") is None:
        pytest.skip("fish is not installed")

    assert "FILL" in _ask("fish", FISH.format(line=shlex.quote("meterlink light move F")), tmp_path)


def test_zsh_writes_the_light_out(small_set: Run, tmp_path: Path) -> None:
    """At zsh's own prompt, TAB makes FILL of F."""
    if shutil.which("zsh") is None:
        pytest.skip("zsh is not installed")
    environment = _environment(tmp_path)
    child, terminal = pty.fork()
    if child == 0:
        os.execvpe("zsh", ["zsh", "-f", "-i"], environment)
    try:
        os.write(terminal, b"autoload -U compinit; compinit -u -D; source <(meterlink completion zsh); echo rea''dy\n")
        assert "ready" in _read_until(terminal, "ready")
        os.write(terminal, b"meterlink light move F\t")
        assert "FILL" in _read_until(terminal, "FILL")
    finally:
        os.kill(child, 9)
        os.close(terminal)
        os.waitpid(child, 0)


def _read_until(terminal: int, text: str, seconds: float = 30.0) -> str:
    read, end_s = "", time.monotonic() + seconds
    while text not in read and time.monotonic() < end_s:
        if select.select([terminal], [], [], 0.1)[0]:
            read += os.read(terminal, 4096).decode(errors="replace")
    return read


def test_questions_complete_names_of_the_kit(small_set: Run, tmp_path: Path) -> None:
    """``light add`` alone at a terminal: TAB writes the modifier out, and the kit fills its size."""
    small_set("light", "move", "KEY", "--modifier", "octa 90")
    environment = _environment(tmp_path)
    child, terminal = pty.fork()
    if child == 0:
        os.execvpe("meterlink", ["meterlink", "light", "add"], environment)
    try:
        for question, answer in (
            ("light:", b"HAIR\n"), ("60x90cm:", b"oc\t\n"), ("1.2m:", b"2m\n"), ("right):", b"160 45\n"), ("1/4:", b"1/8\n"),
        ):  # fmt: skip
            assert question in _read_until(terminal, question)
            os.write(terminal, answer)
        said = _read_until(terminal, "power 1/8")
    finally:
        os.close(terminal)
        os.waitpid(child, 0)
    assert "HAIR (hair): disk 90 cm, 2.00 m from the hair, 160° right, 45° up, power 1/8" in said
