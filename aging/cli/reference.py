"""The reference of the commands, made from the commands: `python -m aging.cli.reference`.

The dashboard shows what stands in dashboard/guides/commands.md; a test holds it to this.
"""

from __future__ import annotations

import sys
from typing import Any

from typer.main import get_command

import aging.cli  # noqa: F401 - registers the commands
from aging.cli.commands import commands

INTRODUCTION = (
    "Type `aging` and a command in a terminal. SOURCE is an exposure folder, a workbook, a store "
    "file or the URL of a PostgreSQL store. `aging COMMAND --help` tells the same."
)


def reference() -> str:
    """Every command with its arguments, options and defaults, as Markdown."""
    parts = [INTRODUCTION]
    for name, command in get_command(commands).commands.items():  # type: ignore[attr-defined]
        words = [_argument(one) for one in command.params if one.param_type_name == "argument"]
        parts += [f"### aging {' '.join([name, *words])}", _one_line(command.help)]
        rows = [_option(one) for one in command.params if one.param_type_name == "option"]
        if rows:
            parts.append("\n".join(["| option | what it does |", "|---|---|", *rows]))
        if command.epilog:
            parts.append(f"`{_one_line(command.epilog).removeprefix('Example: ')}`")
    return "\n\n".join(parts) + "\n"


def _argument(param: Any) -> str:
    return str(param.name).upper() if param.required else f"[{str(param.name).upper()}]"


def _option(param: Any) -> str:
    names = " / ".join(f"`{one}`" for one in (*param.opts, *param.secondary_opts))
    told = _one_line(param.help)
    plain = isinstance(param.default, int | float | str) and not param.is_flag
    default = f" Default: {param.default}." if plain and param.default != "" else ""
    return f"| {names} | {(told + default).replace('|', '/')} |"


def _one_line(text: str | None) -> str:
    return " ".join((text or "").split())


if __name__ == "__main__":
    sys.stdout.write(reference())
