"""`hdl2grid play`: a plan in the grid simulator."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from hdl2grid.base.errors import DesignFailed, Finding, Undecided
from hdl2grid.base.outputs import refuse_existing, streamed_file
from hdl2grid.cli.compiling import compiling_announced
from hdl2grid.cli.reporter import Reporter
from hdl2grid.cli.session import FoundWrong, Session, output_options, session
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.model import Plan
from hdl2grid.plan.rules import check_devices, check_plan
from hdl2grid.show.panel_text import panel_text
from hdl2grid.sim.events import Events, parse_events
from hdl2grid.sim.named_words import words
from hdl2grid.sim.player import Player
from hdl2grid.sim.pulse_network import Network, network_from_plan
from hdl2grid.sim.until import DEFAULT_LIMIT, Condition, Reached, parse_condition, play_until
from hdl2grid.sim.waveform import Waveform


@click.command("play")
@click.argument("plan", type=click.Path(path_type=Path))
@click.argument("events", nargs=-1, required=True)
@click.option("--until", help="Repeat EVENTS until this holds, as in 'ones=5 pm'.")
@click.option(
    "--limit", type=click.IntRange(1), default=DEFAULT_LIMIT, show_default=True, help="Most events for --until."
)
@click.option("--vcd", type=click.Path(dir_okay=False, path_type=Path), help="Write a waveform to this new file.")
@click.option("--seed", type=int, default=0, help="For stacks that emit by chance.")
@click.option("--engine", type=click.Choice(["compiled", "plain"]), default="compiled", help="Which simulator.")
@output_options
def play_command(
    plan: Path, events: tuple[str, ...], until: str | None, limit: int, vcd: Path | None, seed: int, engine: Any
) -> None:
    """Play a PLAN with EVENTS and show what its panel then shows.

    EVENTS are names of sources with repeats and groups, as in: sync*60 reset '(hold sync*5)*3'. `wait` lets a
    second pass. Pulses that get lost, and a plan that breaks a layout rule, end with exit code 1, and a condition
    that is not met with 3.
    """
    state = session()
    loaded = load_plan(plan)
    network, broken = playable(loaded, state)
    parsed = parse_events(" ".join(events), network.events)
    condition = None
    if until is not None:
        condition = parse_condition(until, [display.signal for display in (*network.pixels, *network.probes)])
    with Reporter(verbose=state.verbose) as reporter, compiling_announced(reporter):
        reporter.stage("play")
        if vcd is None:
            player = Player(network, engine, seed)
            total = limit if condition is not None else len(parsed)
            reporter.follow("waves", lambda: player.num_waves, total)
            reached = _play(player, parsed, condition, limit)
        else:
            refuse_existing(vcd)
            with streamed_file(vcd) as file:
                waveform = Waveform(file, network)
                player = Player(network, engine, seed, on_wave=lambda happened: waveform.wave(happened, player))
                waveform.start(player)
                reached = _play(player, parsed, condition, limit)
                waveform.close()
    _show(state, loaded, player, reached)
    _judge(player, condition, reached)
    if broken:
        raise DesignFailed("C017", f"{len(broken)} layout rules broken: it was played as it stands", where=plan)


def playable(plan: Plan, state: Session) -> tuple[Network, tuple[Finding, ...]]:
    """The network of a plan whose devices stand as they must, and the other rules that it breaks: these are told
    first, as warnings."""
    findings = check_devices(plan)
    if findings:
        raise FoundWrong("C011", "the plan cannot be played", findings)
    broken = check_plan(plan)
    for finding in broken[:5]:
        state.note(f"warning: {finding}")
    return network_from_plan(plan), tuple(broken)


def _play(player: Player, events: Events, condition: Condition | None, limit: int) -> Reached:
    if condition is not None:
        return play_until(player, events, condition, limit)
    player.play(events)
    return Reached(True, len(events))


def _show(state: Session, plan: Plan, player: Player, reached: Reached) -> None:
    network = player.network
    bits = player.engine.bits()[network.first_pixel : network.first_probe].tolist()
    picture = panel_text(plan, bits)
    if picture:
        state.say(picture + "\n")
    values = {**player.levels(), **player.shown()}
    shown = {word: sum(values[bit] << i for i, bit in enumerate(names)) for word, names in words(values).items()}
    for word, value in shown.items():
        state.say(f"{word} = {value}")
    state.say(
        f"\n{reached.events:,} events, {player.num_waves:,} waves, {player.num_pulses:,} pulses, "
        f"longest wave {player.longest} rounds, {float(player.now):g} s of the machine's time"
    )
    state.report(
        {
            "command": "play",
            "plan": plan.name,
            "events": reached.events,
            "held": reached.held,
            "waves": player.num_waves,
            "pulses": player.num_pulses,
            "longest_wave_rounds": player.longest,
            "lost_pulses": dict(player.lost),
            "time_s": float(player.now),
            "values": shown,
            "bits": values,
        }
    )


def _judge(player: Player, condition: Condition | None, reached: Reached) -> None:
    if player.lost:
        number, first = sum(player.lost.values()), next(iter(player.lost))
        what = f"{number} pulses were lost, the first at stack '{first}': the machine no longer keeps its state"
        raise DesignFailed("C012", what, where=player.network.name)
    if condition is not None and not reached.held:
        raise Undecided("C013", f"the condition was not met within {reached.events:,} events")
