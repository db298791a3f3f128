"""The DESIGN argument and the options of the flow, common to `check`, `plan` and `prove`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from hdl2grid.flow import FlowOptions
from hdl2grid.layout.effort import EFFORTS
from hdl2grid.target import STYLES, load_target, rename_colours

F = TypeVar("F", bound=Callable[..., Any])


class DesignName(click.ParamType[str]):
    """A path to a Python file, or the name of a shipped design; the shell completes both."""

    name = "design"

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        from hdl2grid.designs import shipped_designs

        names = [name for name in shipped_designs() if name.startswith(incomplete)]
        return [*(CompletionItem(name) for name in names), CompletionItem(incomplete, type="file")]


def target_options(command: F) -> F:
    """Adds --target and --colours."""
    command = click.option(
        "--colours", metavar="A,B,C,D", help="What the game calls the four wire colours, in the target's order."
    )(command)
    return click.option(
        "--target", default="default", show_default=True, help="The game: a built-in target's name or a .toml file."
    )(command)


def flow_options(command: F) -> F:
    """Adds the options that decide a plan."""
    seeds = click.IntRange(0, 2**31 - 1)
    efforts = click.Choice(EFFORTS)
    for option in (
        click.option("--height", type=int, metavar="TILES", help="Highest grid allowed."),
        click.option("--width", type=int, metavar="TILES", help="Widest grid allowed."),
        click.option("--keep-codes", is_flag=True, help="Keep the codes of all registers as they are written."),
        click.option(
            "--style",
            type=click.Choice(STYLES),
            default=STYLES[0],
            show_default=True,
            help="Tidy: rows, straight wires, equal blocks laid alike. Compact: least area.",
        ),
        click.option("--effort", type=efforts, default="normal", show_default=True, help="How much to search."),
        click.option("--seed", type=seeds, default=1, show_default=True, help="Another seed, another plan."),
    ):
        command = option(command)
    return target_options(command)


def options_from(
    target: str,
    colours: str | None,
    seed: int,
    effort: str,
    width: int | None,
    height: int | None,
    keep_codes: bool = False,
    style: str = STYLES[0],
) -> FlowOptions:
    """The options of the flow. Raises InputError (T...) for a target or colours that cannot be."""
    loaded = load_target(target)
    if colours is not None:
        loaded = rename_colours(loaded, colours.split(","))
    return FlowOptions(loaded, seed, effort, width, height, keep_codes, style)


def design_folder(design: str) -> Path:
    """The folder of a design's file, to which its source lines are told. Raises InputError (M050)."""
    from hdl2grid.designs import find_design

    return find_design(design).parent
