"""The codes of an old circuit's registers, read by playing it, for a new version of its design."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import islice, permutations

import numpy as np

from hdl2grid.circuit.match import plain_name
from hdl2grid.circuit.model import Circuit, Level, Stack
from hdl2grid.logic.model import Logic
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.network import network_from_circuit
from hdl2grid.synth.codes import Coding, code_of
from hdl2grid.synth.gating import word_of
from hdl2grid.synth.groups import Group

_CHUNK = 4096
_MOST_EVENTS = 400_000
_MOST_FILLINGS = 2000


def registers_of(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """For each register stack its drivers: itself and, where it has one, the stack that resets it."""
    strobed = {stack.name for stack in circuit.stacks if stack.strobe is not None}
    resets = {name for name in strobed if name.endswith(".reset") and name.removesuffix(".reset") in strobed}
    return {
        name: (name, f"{name}.reset") if f"{name}.reset" in resets else (name,) for name in sorted(strobed - resets)
    }


def old_coding(group: Group, logic: Logic, old: Circuit) -> Coding | None:
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
    if not members or group.behaviour.context or first.domain not in {s.name for s in old.sources}:
        return None
    members.sort(key=lambda s: int((re.findall(r"\[(\d+)\]", s.name) or ["0"])[-1]))
    return _filled(group, len(members), _course(old, members, first.domain))


def _course(old: Circuit, members: Sequence[Stack], event: str) -> list[int]:
    """The codes that the registers run through, each once, from the first state on, taken to be 0."""
    drivers = registers_of(old)
    levels = tuple(Level(f"bit {i}", tuple(sorted(drivers[s.name])), 0) for i, s in enumerate(members))
    network = network_from_circuit(replace(old, levels=levels))
    engine = CompiledEngine(network)
    watch = [network.first_probe + i for i in range(len(members))]
    weights = 1 << np.arange(len(members), dtype=np.int64)
    events = np.full(_CHUNK, network.event(event), np.int64)
    codes = [0]
    for _ in range(_MOST_EVENTS // _CHUNK):
        seen = engine.play(events, watch).watched.astype(np.int64) @ weights
        for code in seen[np.flatnonzero(np.diff(seen, prepend=codes[-1]))].tolist():
            if code in codes:
                return codes
            codes.append(code)
    return codes


def _filled(group: Group, width: int, course: Sequence[int]) -> Coding | None:
    """The old code, step by step of both machines; states beyond the old course take what is left."""
    behaviour = group.behaviour
    step = dict(zip(behaviour.here, behaviour.after, strict=True))
    codes: dict[int, int] = {}
    state = behaviour.first
    for code in course:
        if state in codes:
            break
        codes[state] = code
        state = step.get(state, state)
    rest = [s for s in range(behaviour.num_states) if s not in codes]
    free = [c for c in range(1 << width) if c not in codes.values()]
    if len(free) < len(rest):
        return None
    best: Coding | None = None
    for chosen in islice(permutations(free, len(rest)), _MOST_FILLINGS):
        full = codes | dict(zip(rest, chosen, strict=True))
        coding = code_of(behaviour, width, [full[s] for s in range(behaviour.num_states)])
        if coding is not None and (best is None or coding.stacks < best.stacks):
            best = coding
    return best
