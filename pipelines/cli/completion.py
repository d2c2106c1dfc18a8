"""Shell completion: a script for the user's shell, written from the parser itself."""

import argparse

SHELLS = ("bash", "zsh", "fish")


def completion(parser: argparse.ArgumentParser, shell: str) -> str:
    """A script that completes commands, options and fixed choices; files elsewhere."""
    commands = _commands(parser)
    if shell == "fish":
        return _fish(commands)
    cases = "\n".join(
        f'    {name}) words="{" ".join(_words(sub))}" ;;' for name, sub in commands.items()
    )
    script = f"""_deckslab() {{
  local here="${{COMP_WORDS[COMP_CWORD]}}" words=""
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W "{" ".join(commands)} --help --version" -- "$here"))
    return
  fi
  case "${{COMP_WORDS[1]}}" in
{cases}
  esac
  COMPREPLY=($(compgen -W "$words" -- "$here") $(compgen -f -- "$here"))
}}
complete -o filenames -F _deckslab deckslab
"""
    if shell == "zsh":
        return "autoload -U +X bashcompinit && bashcompinit\n" + script
    return script


def _commands(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    return {}


def _words(parser: argparse.ArgumentParser) -> list[str]:
    """Options and choices of a command."""
    words = []
    for action in parser._actions:
        words += [option for option in action.option_strings if option.startswith("--")]
        words += [str(choice) for choice in action.choices or ()]
    return words


def _fish(commands: dict[str, argparse.ArgumentParser]) -> str:
    lines = [f"complete -c deckslab -n __fish_use_subcommand -f -a '{' '.join(commands)}'"]
    for name, sub in commands.items():
        when = f"complete -c deckslab -n '__fish_seen_subcommand_from {name}'"
        options = [w for w in _words(sub) if w.startswith("--")]
        lines += [f"{when} -l {option[2:]}" for option in options]
        choices = [w for w in _words(sub) if not w.startswith("--")]
        if choices:
            lines.append(f"{when} -a '{' '.join(choices)}'")
    return "\n".join(lines) + "\n"
