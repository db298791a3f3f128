"""`hdl2grid check`: the design's own checks."""

from __future__ import annotations

from pathlib import Path

import click

from hdl2grid.cli.design_options import DesignName
from hdl2grid.cli.reporter import Reporter
from hdl2grid.cli.session import output_options, running_user_code, session
from hdl2grid.design.load import load_machine
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.verify.design_checks import CheckReport, run_checks


@click.command("check")
@click.argument("design", type=DesignName())
@click.option("--vcd", type=click.Path(dir_okay=False, path_type=Path), help="Write a waveform to this new file.")
@output_options
def check_command(design: str, vcd: Path | None) -> None:
    """Run the checks of a DESIGN in Amaranth's simulator.

    DESIGN is a Python file with a `machine` in it, or the name of a shipped design. Exit code 1 if a check
    fails.
    """
    state = session()
    with Reporter(verbose=state.verbose) as reporter, running_user_code():
        reporter.stage("load")
        machine = load_machine(design)
        reporter.stage("elaborate")
        elaboration = elaborate(machine)
        for warning in elaboration.warnings:
            reporter.note(f"warning: {warning}")
        reporter.stage("check")
        report = run_checks(elaboration, vcd, reporter)
    for line in check_lines(report):
        state.say(line)
    if vcd is not None:
        state.say(f"Wrote {vcd}")
    state.report(
        {
            "command": "check",
            "machine": report.machine,
            "checks": checks_json(report),
            "warnings": list(elaboration.warnings),
            "vcd": None if vcd is None else str(vcd),
            "exit_code": 0,
        }
    )


def check_lines(report: CheckReport) -> list[str]:
    """The checks that held, one a line."""
    lines = []
    for result in report.results:
        seen = [f"{number:,} ticks of {domain}" for domain, number in result.num_ticks if number]
        seen += [f"{result.num_presses:,} presses"] if result.num_presses else []
        lines.append(f"{result.name}: passed{', ' if seen else ''}{', '.join(seen)}")
    return lines or [f"{report.machine} elaborates; it has no check"]


def checks_json(report: CheckReport) -> list[dict[str, object]]:
    """The checks that held, for the machine-readable report."""
    return [
        {"name": r.name, "passed": True, "ticks": dict(r.num_ticks), "presses": r.num_presses} for r in report.results
    ]
