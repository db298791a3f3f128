"""The report and the panel as text, on machines made by hand."""

from __future__ import annotations

import re
from dataclasses import replace

from support.plans import counter_circuit, counter_plan, divider_plan

from hdl2grid.base.errors import Finding, SourceLine
from hdl2grid.base.target import load_target
from hdl2grid.circuit.model import Circuit, Origin, Stack, Toggle
from hdl2grid.show.panel_text import panel_text
from hdl2grid.show.report import (
    Block,
    ReportFacts,
    cell,
    report_markdown,
    saying_one,
    size_rows,
    stack_counts,
)
from hdl2grid.verify.evidence import Evidence

FACTS = ReportFacts(
    name="counter",
    verdict="proved",
    reason="",
    evidence=(Evidence("layout rules", "nothing found wrong", True),),
    findings=(),
    warnings=(),
    options=(("seed", "1"),),
    blocks=(Block("q", "one level", "4", 1, "1", "proved minimal", "dimension"),),
    longest_wave_rounds=3,
    reachable_states=4,
    target=load_target(),
    circuit=counter_circuit(),
    plan=counter_plan(),
)


def test_the_report_tells_what_was_proved_and_what_it_takes():
    text = report_markdown(FACTS)
    assert text.startswith("# counter\n\n**proved**\n") and text.endswith("\n")
    assert "| layout rules | nothing found wrong |" in text
    assert "The longest wave takes 3 rounds." in text and "4 states" in text
    for what, number in size_rows(counter_plan()):
        assert f"| {what} | {number:,} |" in text
    for heading in ("Size", "Stacks", "Parts list", "Laying it", "Where the stacks come from", "Options", "Cautions"):
        assert f"\n## {heading}\n" in text
    assert "three flashes" in text and "mains wiring" in text
    assert "Warnings" not in text and "What was found" not in text


def test_tables_are_whole():
    rows = [line for line in report_markdown(FACTS).splitlines() if line.startswith("|")]
    heads = [index for index, row in enumerate(rows) if set(row) <= {"|", "-"}]
    assert len(heads) >= 6
    for row in rows:
        assert row.endswith("|")


def test_a_rejected_plan_says_why():
    findings = tuple(Finding("R010", f"wire {i} ends at nothing", (i, 0), "blue") for i in range(60))
    text = report_markdown(replace(FACTS, verdict="rejected", reason="60 findings", findings=findings))
    assert "**rejected**: 60 findings" in text
    assert "wire 49 ends" in text and "wire 50 ends" not in text and "and 10 more" in text


def test_without_a_plan_there_is_no_size():
    text = report_markdown(replace(FACTS, plan=None, verdict="synthesised"))
    assert "## Size" not in text and "## Parts list" not in text and "## Stacks" in text


def test_names_are_no_markup():
    name = "a|b*c_d`e<f>[g]#\nh"
    circuit = Circuit("m", (), (Stack(name, "AND", (Toggle(0, ()),)),), (), (Origin("b", name, SourceLine(name, 3)),))
    text = report_markdown(replace(FACTS, name=name, circuit=circuit, plan=None))
    row = next(line for line in text.splitlines() if line.startswith("| a\\|"))
    assert len(re.findall(r"(?<!\\)\|", row)) == 7
    assert cell("x\ny") == "x y"


def test_pixels_to_commission_are_listed():
    dark = report_markdown(replace(FACTS, plan=divider_plan()))
    assert "A pixel is lit when it is placed, and 1 must be dark" in dark and "(5,2)" in dark


def test_stacks_that_say_one_are_named():
    circuit = replace(
        counter_circuit(),
        stacks=(
            Stack("one", "NAND", (Toggle(0, ()), Toggle(1, ()))),
            Stack("zero", "XOR", (Toggle(1, ()), Toggle(1, ()))),
            Stack("strobed", "AND", (Toggle(1, ()),), ("sync",)),
        ),
        origin=(Origin("", ""),) * 3,
    )
    assert saying_one(circuit) == ("one",)
    assert stack_counts(circuit) == {"NAND of 2": 1, "XOR of 2": 1, "strobed": 1}
    assert "1 plain stacks say 1" in report_markdown(replace(FACTS, circuit=circuit))


def test_reports_are_the_same_bytes_every_time():
    assert report_markdown(FACTS) == report_markdown(FACTS)


def test_the_panel_as_text():
    plan = counter_plan()
    assert panel_text(plan, [1, 0, 1]) == "#\n\n.\n\n\n#"
    assert panel_text(replace(plan, devices=()), []) == ""
