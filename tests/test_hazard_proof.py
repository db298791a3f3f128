"""Hazards proved or shown: against every state played by the rules, on circuits by hand and at random."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from support.lockstep import Player, sources_of
from support.small_logic import random_logic

from hdl2grid.circuit.model import Circuit, Origin, Source, Stack, Toggle
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards


def circuit(switches: int, stacks: list[Stack]) -> Circuit:
    sources = tuple(Source("switch", f"s{i}", on=False) for i in range(switches))
    return Circuit("hand", sources, tuple(stacks), (), tuple(Origin("hand", s.name) for s in stacks))


def plain(name: str, function: str, *toggles: tuple[int, str]) -> Stack:
    return Stack(name, function, tuple(Toggle(bit, tuple(d.split())) for bit, d in toggles))


def test_a_late_copy_beside_its_signal_is_safe_and_its_inverse_is_not() -> None:
    late = plain("late", "AND", (0, "s0"))
    safe = circuit(1, [late, plain("both", "AND", (0, "s0"), (0, "late"))])
    assert [s.stack for s in find_hazards(safe).suspects] == ["both"]
    assert [v.is_safe for v in prove_hazards(safe)] == [True]
    glitch = circuit(1, [late, plain("spike", "AND", (0, "s0"), (1, "late"))])
    verdicts = prove_hazards(glitch)
    assert [(v.event, v.stack, v.odd) for v in verdicts] == [("s0", "spike", ())]
    player = Player(glitch)
    player.wave("s0")
    assert player.lost


def unbalanced(seed: int) -> Circuit:
    """Plain stacks over switches and over one another, without any regard for rounds."""
    rng = random.Random(seed)
    names, stacks = [f"s{i}" for i in range(3)], []
    for k in range(rng.randint(2, 6)):
        toggles = tuple(
            Toggle(rng.randint(0, 1), tuple(sorted(rng.sample(names, rng.randint(1, min(2, len(names)))))))
            for _ in range(rng.randint(1, 3))
        )
        stacks.append(Stack(f"g{k}", rng.choice(("AND", "OR", "NAND", "NOR", "XOR", "XNOR")), toggles))
        names.append(f"g{k}")
    return circuit(3, stacks)


def loses(machine: Circuit, event: str) -> set[str]:
    """The stacks that lose a pulse in a wave of `event` from any levels of the switches, each settled at once."""
    found = set()
    for levels in range(8):
        start = settled(machine, {f"s{i}": levels >> i & 1 for i in range(3)})
        player = Player(start)
        player.wave(event)
        found |= {text.split(" at ")[0] for text in player.lost}
    return found


def settled(machine: Circuit, odd: dict[str, int]) -> Circuit:
    first = Player(machine).said
    stacks = []
    for s, stack in enumerate(machine.stacks):
        toggles = tuple(replace(t, bit=t.bit ^ sum(odd[d] for d in t.drivers) & 1) for t in stack.toggles)
        stacks.append(replace(stack, toggles=toggles))
        odd[stack.name] = Player(circuit(3, stacks)).said[s] ^ first[s]
    return circuit(3, stacks)


@pytest.mark.parametrize("seed", range(60))
def test_proof_and_exhaustion_agree(seed: int) -> None:
    machine = unbalanced(seed)
    verdicts = prove_hazards(machine)
    for event in ("s0", "s1", "s2"):
        assert {v.stack for v in verdicts if v.event == event and not v.is_safe} == loses(machine, event)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_synthesised_needs_no_proof(seed: int) -> None:
    logic = random_logic(seed)
    made = synthesise(logic, sources_of(logic), SynthParams(search_steps=2000, espp_steps=20_000)).circuit
    assert find_hazards(made).is_safe_by_structure
    assert all(v.is_safe for v in prove_hazards(made))
