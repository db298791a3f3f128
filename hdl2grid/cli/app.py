"""The group `hdl2grid` and its commands."""

from __future__ import annotations

import click

from hdl2grid.cli.draw import draw_command
from hdl2grid.cli.play import play_command
from hdl2grid.cli.session import ErrorHandlingGroup
from hdl2grid.cli.start import start_command
from hdl2grid.cli.words import explain_command, target_group


@click.group(
    name="hdl2grid",
    cls=ErrorHandlingGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="hdl2grid")
def main() -> None:
    """From a clock in HDL to a proven plan of wires, gates and lamps on a grid.

    Exit codes: 0 done (proved); 1 the design fails its check, the plan breaks a rule or differs, or no plan
    was found within the limits; 2 bad input or usage; 3 undecided. Beyond these: 70 a fault of hdl2grid
    itself, 130 interrupted, 141 the reader of the output went away.
    """


for command in (start_command, play_command, draw_command, target_group, explain_command):
    main.add_command(command)
