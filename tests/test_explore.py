"""Reachable states: counted by hand for known machines, and against a plain search for random ones."""

from __future__ import annotations

import pytest
from support.lockstep import Reference, events_of
from support.small_logic import clock_12h, random_logic

from hdl2grid.logic.reachability import explore


def test_the_clock_has_720_states() -> None:
    logic = clock_12h()
    found = explore(logic)
    assert found.joint is not None and len(found.joint) == 720
    for registers, count in ((range(4), 10), (range(4, 7), 6), (range(7, 11), 12)):
        states = found.states(list(registers), 64)
        assert states is not None and len(states) == count
    assert found.states(range(11), 700) is None


def test_groups_where_the_joint_space_is_too_large() -> None:
    found = explore(clock_12h(), joint_limit=100)
    assert found.joint is None
    counts = [None if g.states is None else len(g.states) for g in found.groups]
    assert sorted(c for c in counts if c is not None) == [6, 10, 12]
    assert len(found.states(range(11), 1000)) == 720


@pytest.mark.parametrize("seed", range(25))
def test_random_machines_against_a_plain_search(seed: int) -> None:
    logic = random_logic(seed, most_registers=6, most_nodes=40)
    seen, todo = set(), [tuple(r.init for r in logic.registers)]
    while todo:
        state = todo.pop()
        if state in seen:
            continue
        seen.add(state)
        for levels in range(1 << len(logic.inputs)):
            for event in events_of(logic):
                if event in logic.domains or event == "reset":
                    machine = Reference(logic)
                    machine.state = list(state)
                    machine.inputs = [levels >> i & 1 for i in range(len(logic.inputs))]
                    machine.event(event)
                    todo.append(tuple(machine.state))
    wanted = sorted(sum(bit << i for i, bit in enumerate(state)) for state in seen)
    exact = explore(logic)
    assert exact.joint is not None and [int(s) for s in exact.joint] == wanted
    loose = explore(logic, joint_limit=1, group_limit=1 << 10)
    covered = loose.states(range(len(logic.registers)), 1 << 10)
    assert covered is not None and set(wanted) <= {int(s) for s in covered}
