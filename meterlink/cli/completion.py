"""Print what a shell needs to complete verbs, options, lights, set-ups, heads and modifiers.

examples:
  meterlink completion bash      add what it prints to ~/.bashrc
  meterlink completion zsh       to ~/.zshrc
  meterlink completion fish      to ~/.config/fish/completions/meterlink.fish

Names come from your library at the moment that they are asked for.  Open a new shell afterwards.
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import option

OPTIONS = (option("shell", choices=("bash", "zsh", "fish")),)


def run(args: argparse.Namespace) -> None:
    """Print the shell's own lines."""
    from argcomplete.shell_integration import shellcode

    print(shellcode(["meterlink"], shell=args.shell))
