"""completion and manual: what shells and `man` want to know, made from the parser itself."""

import argparse
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass

from analyzer.faces.cli.base.options import Command, Parser, arg

SHELLS = ("bash", "zsh", "fish")


@dataclass(frozen=True)
class Word:
    """An option: its spellings, what it is for, and what may follow it ("FILE": a file's name)."""

    names: tuple[str, ...]
    text: str
    takes: tuple[str, ...] | None


@dataclass(frozen=True)
class Entry:
    """A command, with what may follow it. files: whether names of files may."""

    name: str
    text: str
    words: tuple[Word, ...]
    files: bool
    parser: argparse.ArgumentParser


def entries(top: Parser) -> list[Entry]:
    """The commands, in the order of the help."""
    (table,) = (a for a in top._actions if isinstance(a, argparse._SubParsersAction))
    texts = {choice.dest: choice.help or "" for choice in table._choices_actions}
    return [_entry(name, texts[name], parser) for name, parser in table.choices.items()]


def _entry(name: str, text: str, parser: argparse.ArgumentParser) -> Entry:
    options = [action for action in parser._actions if action.option_strings]
    files = any(
        not action.option_strings and action.metavar == "FILE" for action in parser._actions
    )
    return Entry(name, text, tuple(_word(action) for action in options), files, parser)


def _word(action: argparse.Action) -> Word:
    takes: tuple[str, ...] | None = None
    if action.nargs != 0:
        takes = tuple(action.choices) if action.choices else (_metavar(action),)
    return Word(tuple(action.option_strings), _plain(action), takes)


def _metavar(action: argparse.Action) -> str:
    return action.metavar if isinstance(action.metavar, str) else action.dest.upper()


def _plain(action: argparse.Action) -> str:
    """Its help, with argparse's own places filled in."""
    return re.sub(r"%\((\w+)\)s", lambda m: str(getattr(action, m[1])), action.help or "")


def bash(top: Parser) -> str:
    """For bash: a function that offers commands, then options, then files."""
    cases = "\n".join(
        f"    {e.name}) words={_quoted(' '.join(n for w in e.words for n in w.names))};;"
        for e in entries(top)
    )
    names = " ".join(e.name for e in entries(top))
    return f"""_keelwatt() {{
  local word=${{COMP_WORDS[COMP_CWORD]}} words
  if [ "$COMP_CWORD" -eq 1 ]; then
    words={_quoted(f"{names} {_own_words(top)}")}
  else case ${{COMP_WORDS[1]}} in
{cases}
    esac
  fi
  case $word in
    -*) mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word");;
    *) [ "$COMP_CWORD" -eq 1 ] && mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word");;
  esac
}}
complete -o default -F _keelwatt keelwatt
"""


def _own_words(top: Parser) -> str:
    """The options that may stand before a command."""
    return " ".join(name for action in top._actions for name in action.option_strings)


def zsh(top: Parser) -> str:
    """For zsh: the same by its own functions."""
    commands = "\n".join(f"    {_quoted(f'{e.name}:{e.text}')}" for e in entries(top))
    cases = "\n".join(_zsh_case(e) for e in entries(top))
    return f"""#compdef keelwatt
_keelwatt() {{
  local -a commands=(
{commands}
  )
  if (( CURRENT == 2 )); then
    _describe command commands
    return
  fi
  case $words[2] in
{cases}
  esac
}}
compdef _keelwatt keelwatt
"""


def _zsh_case(entry: Entry) -> str:
    specs = [_zsh_spec(name, word) for word in entry.words for name in word.names]
    specs.append("'*:file:_files'")
    return f"    {entry.name}) shift words; (( CURRENT-- )); _arguments {' '.join(specs)};;"


def _zsh_spec(name: str, word: Word) -> str:
    # brackets and colons end a description there
    text = word.text.translate(str.maketrans("[]:", "() "))
    if word.takes is None:
        return _quoted(f"{name}[{text}]")
    if word.takes == ("FILE",):
        return _quoted(f"{name}[{text}]:file:_files")
    choices = f"({' '.join(word.takes)})" if len(word.takes) > 1 else ""
    return _quoted(f"{name}[{text}]:{word.takes[0]}:{choices}")


def fish(top: Parser) -> str:
    """For fish: a line for each command and option."""
    lines = [
        f"complete -c keelwatt -n __fish_use_subcommand -f -a {e.name} -d {_quoted(e.text)}"
        for e in entries(top)
    ]
    for e in entries(top):
        lines += [_fish_line(e.name, word) for word in e.words]
    return "\n".join(lines) + "\n"


def _fish_line(command: str, word: Word) -> str:
    spellings = [f"-l {n[2:]}" if n.startswith("--") else f"-s {n[1:]}" for n in word.names]
    takes = ""
    if word.takes == ("FILE",):
        takes = " -r"
    elif word.takes is not None:
        many = f" -a {_quoted(' '.join(word.takes))}" if len(word.takes) > 1 else ""
        takes = f" -x{many}"
    seen = f"-n '__fish_seen_subcommand_from {command}'"
    return f"complete -c keelwatt {seen} {' '.join(spellings)}{takes} -d {_quoted(word.text)}"


def _quoted(text: str) -> str:
    """One word for any of the three shells."""
    return "'" + text.replace("'", "’") + "'"


def manual(top: Parser) -> str:
    """The page for `man`, in the macros of man(7)."""
    parts = [
        '.TH KEELWATT 1 "" "keelwatt" "User commands"',
        ".SH NAME",
        "keelwatt \\- battery and motor logger and trip analyzer for sailing boats",
        ".SH SYNOPSIS",
        ".B keelwatt\n.I COMMAND\n[options]",
        ".SH DESCRIPTION",
        _roff(top.description or ""),
        ".SH OPTIONS",
        *(_manual_word(_word(action)) for action in top._actions if action.option_strings),
        ".SH COMMANDS",
    ]
    for entry in entries(top):
        parts += [f".SS {entry.name}", _roff(entry.parser.description or "")]
        parts += [_manual_word(word) for word in entry.words]
        parts += [".PP", ".nf", _roff(entry.parser.epilog or ""), ".fi"]
    parts += [".SH EXIT STATUS", *_manual_statuses(), ".SH ENVIRONMENT", _roff(ENVIRONMENT)]
    return "\n".join(parts) + "\n"


EXIT_STATUS = (
    ("0", "done"),
    ("1", "nothing was found or stored"),
    ("2", "the user can put it right: one sentence says how"),
    ("130", "interrupted, as by Ctrl-C"),
    ("141", "nobody reads the output any more"),
    ("143", "asked to end"),
)
ENVIRONMENT = """KEELWATT_LOG and KEELWATT_BOAT name the log and the boat file. NO_COLOR: no \
colours. COLUMNS: width of the text."""


def exit_status_lines() -> list[str]:
    """What a script may hang on, for the help."""
    return [f"  {number:<4} {text}" for number, text in EXIT_STATUS]


def _manual_statuses() -> list[str]:
    return [f".TP\n.B {number}\n{_roff(text)}" for number, text in EXIT_STATUS]


def _manual_word(word: Word) -> str:
    takes = f" {'|'.join(word.takes)}" if word.takes else ""
    return f".TP\n.B {_roff(', '.join(word.names) + takes)}\n{_roff(word.text)}"


def _roff(text: str) -> str:
    """Text whose backslashes, hyphens and leading dots mean themselves."""
    safe = text.replace("\\", "\\e").replace("-", "\\-")
    return "\n".join(f"\\&{line}" if line[:1] in (".", "'") else line for line in safe.splitlines())


WRITERS: dict[str, Callable[[Parser], str]] = {"bash": bash, "zsh": zsh, "fish": fish}


def _completion(options: argparse.Namespace) -> int:
    sys.stdout.write(WRITERS[options.shell](options.top))
    return 0


def _manual(options: argparse.Namespace) -> int:
    sys.stdout.write(manual(options.top))
    return 0


COMMANDS = (
    Command(
        "completion",
        _completion,
        "print what makes the shell complete commands and options by the tabulator key",
        "keelwatt completion bash > ~/.local/share/bash-completion/completions/keelwatt\n"
        "keelwatt completion zsh > ~/.zfunc/_keelwatt\n"
        "keelwatt completion fish > ~/.config/fish/completions/keelwatt.fish",
        (arg("shell", choices=SHELLS, help="which shell"),),
        json=False,
        places=False,
    ),
    Command(
        "manual",
        _manual,
        "print the manual page, for man",
        "keelwatt manual > keelwatt.1\nman ./keelwatt.1",
        json=False,
        places=False,
    ),
)
