"""The command `completion`: a script of completions for the user's shell, made from the parser."""

import argparse

from pipelines.cli.words import Commands

SHELLS = ("bash", "zsh", "fish", "powershell")
# Metavars of arguments that are folders, and of those that are files or packaged examples.
FOLDERS = ("DIR",)
FILES = ("DECK", "RESULTS|DECK", "DIR|FILE.svg", "FILE", "FILE.html", "FILE.csv", "STUDY", "FIT",
         "PARQUET")  # fmt: skip


def add_completion(commands: Commands, parser: argparse.ArgumentParser) -> None:
    """Add the command `completion`; parser : of the whole command line."""
    own = commands.add_parser("completion", help="print a script of completions for a shell")
    own.add_argument("shell", choices=SHELLS, help="whose")
    own.set_defaults(do=lambda arguments: _completion(parser, commands, arguments.shell))


def _completion(parser: argparse.ArgumentParser, commands: Commands, shell: str) -> int:
    import shtab

    for command in commands.choices.values():
        for action in command._actions:
            if action.metavar in (*FOLDERS, *FILES):
                kind = shtab.DIRECTORY if action.metavar in FOLDERS else shtab.FILE
                action.complete = kind  # type: ignore[attr-defined]
    print(shtab.complete(parser, shell))
    return 0
