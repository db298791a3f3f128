"""What goes into synthesis and what comes out of it, beside the logic and the circuit themselves."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.circuit.model import Circuit
from hdl2grid.nets.partition import CircuitWithNets, Partition


@dataclass(frozen=True)
class SynthParams:
    """Limits and choices of synthesis.

    `*_terms` bound how many signals a toggle or pixel may gather (they come from four colours a tile);
    a register and its reset stack count as one signal, and a register's own signal at its own toggle is not
    counted; `part_terms` is for functions that several sinks' products read. `max_toggles` bounds the height of a
    stack. `keep_codes` keeps every register's HDL code. `pixel_nets` is how many nets a pixel may bear where drivers
    are joined on nets to save stacks (see `hdl2grid.nets.partition`), which `join` allows; toggles bear what four
    colours allow.
    Caps: `joint_states`, `group_states` in reachability; `block_states` (at most 64) and `block_variables` for
    exact one-level synthesis; `search_steps` in the search for the best wired of the smallest covers;
    `espp_steps` in the walks over ESPPs, shared by the groups of sinks (fewer where there are few).
    `without` names rewrites to leave out (see `rewrite/driver.py`), to see what they are worth.
    """

    max_toggles: int = 12
    toggle_terms: int = 3
    register_terms: int = 2
    pixel_terms: int = 3
    part_terms: int = 1
    collector_terms: int = 3
    pixel_nets: int = 4
    join: bool = True
    keep_codes: bool = False
    gating: bool = True
    joint_states: int = 1 << 17
    group_states: int = 1 << 12
    block_states: int = 64
    block_variables: int = 8
    search_steps: int = 200_000
    espp_steps: int = 10_000_000
    seed: int = 1
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class BlockReport:
    """One group of targets that was mapped together, as the mapping ended.

    `states` is the number of states of the block's variables. `stacks` counts products and exactly-ones that the
    targets need; `products` and `exactly_ones` count those that there are, with the ones that only shorten sums; over
    all blocks they add up to the circuit's. `bound` is the fewest that any mapping with these codes and gates needs,
    None where it was not computed. `verdict` is 'proved minimal' or 'open', `proof` says how it was proved (empty for
    'open'); `method` 'one level' or 'multi-level'.
    """

    name: str
    method: str
    targets: int
    variables: int
    states: int | None
    stacks: int
    products: int
    exactly_ones: int
    bound: int | None
    verdict: str
    proof: str

    @property
    def gap(self) -> int | None:
        """Stacks above the bound; None where there is no bound."""
        return None if self.bound is None else self.stacks - self.bound


@dataclass(frozen=True)
class CodeReport:
    """A group of registers whose code was free.

    `hdl_registers` bits became `registers` bits; `codes[s]` is the code of the group's state s (its states in the
    ascending order of the HDL's code); `own`: it is the HDL's code after all. `stacks`: registers, resets and cells
    with this code, without those that only shorten sums; `bound`: no code has fewer; `verdict` 'proved minimal' or
    'open', `proof` says how it was proved.
    """

    name: str
    hdl_registers: int
    registers: int
    states: int
    codes: tuple[int, ...]
    own: bool
    stacks: int
    bound: int
    verdict: str
    proof: str

    @property
    def gap(self) -> int:
        """Stacks above the bound."""
        return self.stacks - self.bound


@dataclass(frozen=True)
class SynthReport:
    """Figures of a synthesised circuit. The counts of stacks add up to `stacks`.

    `products` are AND-type stacks, `exactly_ones` XOR stacks, `buffers` delay a signal by a round, `collectors`
    gather several signals into one. `longest_wave_rounds` is the last round of any wave in which a gate emits.
    """

    blocks: tuple[BlockReport, ...]
    codes: tuple[CodeReport, ...]
    reachable_states: int | None
    registers: int
    resets: int
    gates: int
    products: int
    exactly_ones: int
    collectors: int
    buffers: int
    longest_wave_rounds: int

    @property
    def stacks(self) -> int:
        plain = self.products + self.exactly_ones + self.collectors + self.buffers
        return self.registers + self.resets + self.gates + plain


@dataclass(frozen=True)
class Synthesis:
    """The circuit, what is known about it, and which of its drivers share a net (None where nobody has asked yet)."""

    circuit: Circuit
    report: SynthReport
    shared: Partition | None = None

    @property
    def with_nets(self) -> CircuitWithNets:
        """What layout needs of it."""
        return CircuitWithNets(self.circuit, self.shared)
