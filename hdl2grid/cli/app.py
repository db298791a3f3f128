"""The group `hdl2grid` and its commands, each imported when it is first asked for."""

from __future__ import annotations

import importlib

import click

from hdl2grid.cli.session import ErrorHandlingGroup

COMMANDS = {
    "start": "start_command:start_command",
    "check": "check_command:check_command",
    "plan": "plan_command:plan_command",
    "play": "play_command:play_command",
    "prove": "prove_command:prove_command",
    "draw": "draw_command:draw_command",
    "guide": "guide_command:guide_command",
    "compare": "compare_command:compare_command",
    "target": "word_commands:target_group",
    "explain": "word_commands:explain_command",
}


class LazyGroup(ErrorHandlingGroup):
    """Imports a command's module only when that command is run, completed or helped."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, _, attribute = COMMANDS[cmd_name].partition(":")
        command: click.Command = getattr(importlib.import_module(f"hdl2grid.cli.{module}"), attribute)
        return command


@click.group(
    name="hdl2grid",
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="hdl2grid")
def main() -> None:
    """From a clock in HDL to a proven plan of wires, gates and lamps on a grid.

    Exit codes: 0 done (proved); 1 the design fails its check, the plan breaks a rule or differs, or no plan
    was found within the limits; 2 bad input or usage; 3 undecided. Beyond these: 70 a fault of hdl2grid
    itself, 130 interrupted, 141 the reader of the output went away.
    """
