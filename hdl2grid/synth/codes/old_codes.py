"""The codes of an old circuit's registers, read by playing it, for a new version of its design."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Sequence
from dataclasses import replace
from itertools import islice, permutations

import numpy as np

from hdl2grid.circuit.match import plain_name
from hdl2grid.circuit.model import Circuit, Level, Stack
from hdl2grid.logic.model import Logic
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.pulse_network import Network, network_from_circuit
from hdl2grid.synth.codes.code_stacks import Encoding, code_of
from hdl2grid.synth.codes.register_groups import Group
from hdl2grid.synth.gating import word_of

_CHUNK = 4096
"""Ticks that are played at once. Guessed."""
_MOST_EVENTS = 400_000
"""Ticks after which no new code is waited for. Guessed."""
_MOST_FILLINGS = 2000
"""Ways that are tried to give free codes to new states. Guessed."""


def registers_of(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """For each register stack its drivers: itself and, where it has one, the stack that resets it."""
    strobed = {stack.name for stack in circuit.stacks if stack.strobe is not None}
    resets = {name for name in strobed if name.endswith(".reset") and name.removesuffix(".reset") in strobed}
    return {
        name: (name, f"{name}.reset") if f"{name}.reset" in resets else (name,) for name in sorted(strobed - resets)
    }


def old_encoding(group: Group, logic: Logic, old: Circuit) -> Encoding | None:
    """The code that the old circuit has for a group of registers, each state that both know in its old code and the
    others in the cheapest free ones; None where the old circuit does not tell."""
    words = list(dict.fromkeys(plain_name(word_of(logic.registers[r].name)) for r in group.registers))
    stacks = {plain_name(s.name): s for s in old.stacks if s.strobe is not None}
    own = [plain_name(logic.registers[r].name) for r in group.registers]
    if all(name in stacks for name in own):
        return code_of(group.behaviour, len(own), group.behaviour.code, own=True)
    pattern = re.compile(rf"{re.escape(words[0])}\.code'*(\[\d+\])?")
    members = [s for s in old.stacks if s.strobe is not None and pattern.fullmatch(plain_name(s.name))]
    first = logic.registers[group.registers[0]]
    if not members or first.domain not in {s.name for s in old.sources}:
        return None
    members.sort(key=lambda s: int((re.findall(r"\[(\d+)\]", s.name) or ["0"])[-1]))
    network = _watched(old, members)
    if not group.behaviour.context:
        return _filled(group, len(members), _course(group, network, first.domain))
    switches = _switches(group, logic, old)
    if switches is None or group.condition:
        return None
    return _filled(group, len(members), _branches(group, network, first.domain, switches))


def _watched(old: Circuit, members: Sequence[Stack]) -> Network:
    """The old machine with the levels of some registers, taken to be 0 in the first state, as its probes."""
    drivers = registers_of(old)
    levels = tuple(Level(f"bit {i}", tuple(sorted(drivers[s.name])), 0) for i, s in enumerate(members))
    return network_from_circuit(replace(old, levels=levels))


def _switches(group: Group, logic: Logic, old: Circuit) -> dict[str, int] | None:
    """The switches that a group reads, by name, and how they stand in the first state; None where it reads anything
    else, or one that the old machine has not."""
    known = {s.name: int(bool(s.on)) for s in old.sources if s.kind == "switch"}
    names = [logic.inputs[s - 1 - len(logic.registers)].name for s in group.context if s > len(logic.registers)]
    if len(names) < len(group.context) or not known.keys() >= set(names):
        return None
    return {name: known[name] for name in names}


def _branches(group: Group, network: Network, event: str, switches: dict[str, int]) -> dict[int, int]:
    """The codes of the states that both machines reach with the switches set to one level or the other before each
    tick, breadth first; one that the old machine has for two states is left to the first."""
    behaviour, engine = group.behaviour, CompiledEngine(network)
    codes = {behaviour.first: 0}
    queue = deque([(behaviour.first, engine.state(), tuple(switches.values()))])
    while queue:
        state, memory, standing = queue.popleft()
        for point, here in enumerate(behaviour.here):
            target = behaviour.after[point]
            if here != state or target in codes:
                continue
            levels = tuple(mask >> point & 1 for mask in behaviour.context)
            engine.restore(memory)
            for name, was, level in zip(switches, standing, levels, strict=True):
                if was != level:
                    engine.fire(network.event(name))
            engine.fire(network.event(event))
            code = sum(
                int(bit) << i for i, bit in enumerate(engine.bits()[network.first_probe :][: len(network.probes)])
            )
            if code not in codes.values():
                codes[target] = code
                queue.append((target, engine.state(), levels))
    return codes


def _course(group: Group, network: Network, event: str) -> dict[int, int]:
    """The code of each state, step by step of both machines."""
    step = dict(zip(group.behaviour.here, group.behaviour.after, strict=True))
    codes: dict[int, int] = {}
    state = group.behaviour.first
    for code in _run(network, event):
        if state in codes:
            break
        codes[state] = code
        state = step.get(state, state)
    return codes


def _run(network: Network, event: str) -> list[int]:
    """The codes that the registers run through, each once, from the first state on."""
    engine = CompiledEngine(network)
    watch = [network.first_probe + i for i in range(len(network.probes))]
    weights = 1 << np.arange(len(watch), dtype=np.int64)
    events = np.full(_CHUNK, network.event(event), np.int64)
    codes = [0]
    for _ in range(_MOST_EVENTS // _CHUNK):
        seen = engine.play(events, watch).watched.astype(np.int64) @ weights
        for code in seen[np.flatnonzero(np.diff(seen, prepend=codes[-1]))].tolist():
            if code in codes:
                return codes
            codes.append(code)
    return codes


def _filled(group: Group, width: int, codes: dict[int, int]) -> Encoding | None:
    """The old code; states beyond those known take what is left."""
    behaviour = group.behaviour
    rest = [s for s in range(behaviour.num_states) if s not in codes]
    free = [c for c in range(1 << width) if c not in codes.values()]
    if len(free) < len(rest):
        return None
    best: Encoding | None = None
    for chosen in islice(permutations(free, len(rest)), _MOST_FILLINGS):
        full = codes | dict(zip(rest, chosen, strict=True))
        encoding = code_of(behaviour, width, [full[s] for s in range(behaviour.num_states)])
        if encoding is not None and (best is None or encoding.stacks < best.stacks):
            best = encoding
    return best
