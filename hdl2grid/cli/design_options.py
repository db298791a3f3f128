"""The DESIGN argument and the options of the flow, common to `check`, `plan` and `prove`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from hdl2grid.base.errors import InputError
from hdl2grid.base.target import STYLES, Target, load_target, rename_colours
from hdl2grid.flow import FlowOptions
from hdl2grid.layout.effort import EFFORTS
from hdl2grid.plan.extract import extract
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.model import Plan
from hdl2grid.plan.rules import check_plan

F = TypeVar("F", bound=Callable[..., Any])


class DesignName(click.ParamType[str]):
    """A path to a Python file, or the name of a shipped design; the shell completes both."""

    name = "design"

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        from hdl2grid.design.load import shipped_designs

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
        click.option(
            "--near",
            metavar="PLAN",
            type=click.Path(path_type=Path),
            help="Stay near this plan of an earlier version: move few tiles.",
        ),
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


@dataclass(frozen=True)
class Chosen:
    """The options of `flow_options` as they are written on the command line."""

    target: str
    colours: str | None
    seed: int
    effort: str
    width: int | None
    height: int | None
    keep_codes: bool
    style: str
    near: Path | None


def options_from(chosen: Chosen) -> FlowOptions:
    """The options of the flow. Raises InputError (T..., P...) for a target, colours or an old plan that cannot be."""
    target = load_target(chosen.target)
    if chosen.colours is not None:
        target = rename_colours(target, chosen.colours.split(","))
    return FlowOptions(
        target=target,
        seed=chosen.seed,
        effort=chosen.effort,
        width=chosen.width,
        height=chosen.height,
        keep_codes=chosen.keep_codes,
        style=chosen.style,
        near=None if chosen.near is None else load_near(chosen.near, target),
    )


def load_near(path: Path, target: Target) -> Plan:
    """The plan to stay near to. Raises InputError (J...) for a bad file, (P002) for a plan that breaks a rule or has
    other wire colours."""
    path = path / "plan.json" if path.is_dir() else path
    plan = load_plan(path)
    findings = check_plan(plan, extract(plan))
    if findings:
        told = f"the old plan breaks a layout rule: {findings[0]}"
        raise InputError("P002", told, where=path, hint="Give the plan.json of a machine that is proved.")
    if plan.colours != target.colour_names:
        told = f"the old plan's wires are {', '.join(plan.colours)}; the target's are {', '.join(target.colour_names)}"
        hint = f"Give the old plan's colours: --colours {','.join(plan.colours)}"
        raise InputError("P002", told, where=path, hint=hint)
    return plan


def design_folder(design: str) -> Path:
    """The folder of a design's file, to which its source lines are told. Raises InputError (M050)."""
    from hdl2grid.design.load import find_design

    return find_design(design).parent
