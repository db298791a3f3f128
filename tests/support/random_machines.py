"""Random synthesisable designs, the same for the same seed: expressions, statements, whole machines.

`random_machine(seed)` makes a Machine with at most 12 register bits and small words that between them use all
of Amaranth: every operator, If, Switch and FSM, arrays, enums, structs, signed numbers, memories, enable and
reset inserters, submodules, and up to two clock domains.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from amaranth.hdl import (
    Array,
    Cat,
    Const,
    EnableInserter,
    Module,
    Mux,
    ResetInserter,
    Shape,
    Signal,
    Value,
    signed,
    unsigned,
)
from amaranth.lib import data, enum, memory, wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Button, Machine, Switch, Ticker
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.logic.xag import AND
from hdl2grid.verify.hdl import HdlSession
from support.dice import Dice

MAX_WORD = 4


class Colour(enum.Enum, shape=2):
    BLACK = 0
    ORANGE = 1
    VIOLET = 3


PAIR = data.StructLayout({"low": 1, "high": signed(2)})


def small(value: Value, width: int = MAX_WORD) -> Value:
    """A value cut to a few bits; a signed one stays signed."""
    if len(value) <= width:
        return value
    cut = value[:width]
    return cut.as_signed() if value.shape().signed else cut


UNARY: dict[str, Callable[[Value], Value]] = {
    "~": lambda a: ~a,
    "-": lambda a: -a,
    "+": lambda a: +a,
    "abs": abs,
    "bool": lambda a: a.bool(),
    "any": lambda a: a.any(),
    "all": lambda a: a.all(),
    "parity": lambda a: a.xor(),
    "signed": lambda a: a.as_signed() if len(a) else a,
    "unsigned": lambda a: a.as_unsigned(),
    "reverse": lambda a: a[::-1],
    "slice": lambda a: a[len(a) // 2 :],
    "replicate": lambda a: a.replicate(2),
    "shift_left": lambda a: a.shift_left(1),
    "shift_right": lambda a: a.shift_right(1),
    "rotate_left": lambda a: a.rotate_left(1),
    "rotate_right": lambda a: a.rotate_right(1),
    "matches": lambda a: a.matches("-" * (len(a) - 1) + "1", 0) if len(a) else a,
}

BINARY: dict[str, Callable[[Value, Value], Value]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "//": lambda a, b: a // b,
    "%": lambda a, b: a % b,
    "&": lambda a, b: a & b,
    "|": lambda a, b: a | b,
    "^": lambda a, b: a ^ b,
    "==": lambda a, b: a == b,
    "!=": lambda a, b: a != b,
    "<": lambda a, b: a < b,
    "<=": lambda a, b: a <= b,
    ">": lambda a, b: a > b,
    ">=": lambda a, b: a >= b,
    "<<": lambda a, b: a << b.as_unsigned()[:2],
    ">>": lambda a, b: a >> b.as_unsigned()[:2],
    "cat": lambda a, b: Cat(a, b),
    "bit_select": lambda a, b: a.bit_select(b.as_unsigned(), 2),
    "word_select": lambda a, b: a.word_select(b.as_unsigned()[:2], 2),
}

TERNARY: dict[str, Callable[[Value, Value, Value], Value]] = {
    "mux": lambda a, b, c: Mux(a, b, c),
    "array": lambda a, b, c: Array([b, c, b ^ c])[a.as_unsigned()[:2]],
}

CONSTANT: dict[str, Callable[[Value, int], Value]] = {
    "+": lambda a, k: a + k,
    "-": lambda a, k: k - a,
    "*": lambda a, k: a * k,
    "//": lambda a, k: a // k,
    "%": lambda a, k: a % k,
    "k//": lambda a, k: Const(k) // a,
    "k%": lambda a, k: Const(k) % a,
    "==": lambda a, k: a == k,
    "<": lambda a, k: a < k,
    ">=": lambda a, k: a >= k,
}


def random_value(rng: Dice, leaves: Sequence[Value], depth: int) -> Value:
    """A random expression of at most `MAX_WORD` bits over some leaves."""
    if depth == 0 or rng.random() < 0.15:
        return rng.choice(leaves) if rng.random() < 0.9 else Const(rng.randrange(4), 2)
    kind = rng.randrange(10)

    def operand() -> Value:
        return small(random_value(rng, leaves, depth - 1))

    if kind < 2:
        value = UNARY[rng.choice(sorted(UNARY))](operand())
    elif kind < 7:
        value = BINARY[rng.choice(sorted(BINARY))](operand(), operand())
    elif kind < 9:
        value = CONSTANT[rng.choice(sorted(CONSTANT))](operand(), rng.randrange(-3, 8))
    else:
        value = TERNARY[rng.choice(sorted(TERNARY))](operand(), operand(), operand())
    return small(Value.cast(value))


class RandomDesign(wiring.Component):
    """One random design. Everything is drawn from `seed` again at each elaboration, so all are alike."""

    def __init__(self, seed: int) -> None:
        rng = Dice(f"ports {seed}")
        self.seed = seed
        self.num_domains = rng.choice([0, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2])
        ports = {}
        for i in range(rng.randrange(1 if self.num_domains == 0 else 0, 3)):
            ports[f"in{i}"] = In(_shape(rng, 3))
        for i in range(rng.randrange(1, 4)):
            ports[f"out{i}"] = Out(_shape(rng, MAX_WORD))
        super().__init__(ports)

    def domains(self) -> list[str]:
        return ["sync", "white"][: self.num_domains]

    def elaborate(self, platform: object) -> Module:
        return _Body(self).module()


def _shape(rng: Dice, widest: int) -> Shape:
    width = rng.randrange(1, widest + 1)
    return signed(width) if rng.random() < 0.25 else unsigned(width)


class _Body:
    """Builds the statements of one design."""

    def __init__(self, design: RandomDesign) -> None:
        self.rng = Dice(f"body {design.seed}")
        self.design = design
        self.m = Module()
        self.bits_left = 12
        ports = design.signature.members
        self.inputs = [getattr(design, name) for name in ports if name.startswith("in")]
        self.outputs = [getattr(design, name) for name in ports if name.startswith("out")]
        self.leaves: list[Value] = [Value.cast(port) for port in self.inputs]

    def module(self) -> Module:
        blocks = [
            self.word, self.word, self.word, self.counter, self.switched, self.fsm, self.enum_register,
            self.struct_register, self.inserted, self.rom, self.writable, self.array_of_registers, self.wire,
        ]  # fmt: skip
        if self.design.num_domains:
            self.word()
            self.word()
            for _ in range(self.rng.randrange(2, 6)):
                self.rng.choice(blocks)()
        else:
            self.wire()
        for output in self.outputs[1:]:
            self.drive(output)
        self.show_all(self.outputs[0])
        return self.m

    # -- pieces --------------------------------------------------------------------------------------------------

    def domain(self) -> str:
        return self.rng.choice(self.design.domains())

    def value(self, depth: int = 2) -> Value:
        return random_value(self.rng, self.leaves or [Const(1)], depth)

    def condition(self) -> Value:
        return self.value(1).bool() if self.rng.random() < 0.5 else self.value(2)[:1]

    def register(self, width: int, name: str | None = None) -> Signal | None:
        """A new register of at most `width` bits, as far as bits are left."""
        width = min(width, self.bits_left)
        if width == 0:
            return None
        self.bits_left -= width
        shape = signed(width) if self.rng.random() < 0.2 else unsigned(width)
        low = -(1 << (width - 1)) if shape.signed else 0
        init = self.rng.randrange(low, low + (1 << width))
        register = Signal(shape, init=init, reset_less=self.rng.random() < 0.1, name=name or f"r{len(self.leaves)}")
        self.leaves.append(register)
        return register

    def assign(self, domain: str, target: Signal) -> None:
        """A random assignment to a register, or to a part of it."""
        kind = self.rng.randrange(8)
        if kind == 0 and len(target) > 1:
            target = target[self.rng.randrange(len(target)) :]
        elif kind == 1 and self.leaves:
            target = target.bit_select(self.rng.choice(self.leaves).as_unsigned()[:2], 1)
        elif kind == 2 and len(target) > 1:
            target = Cat(target[1:], target[0])
        self.m.d[domain] += target.eq(self.value())

    # -- blocks --------------------------------------------------------------------------------------------------

    def word(self) -> None:
        register = self.register(self.rng.randrange(1, MAX_WORD + 1))
        if register is None:
            return
        domain = self.domain()
        kind = self.rng.randrange(4)
        if kind == 0:
            self.assign(domain, register)
        else:
            with self.m.If(self.condition()):
                self.assign(domain, register)
            if kind > 1:
                with self.m.Elif(self.condition()):
                    self.assign(domain, register)
            if kind > 2:
                with self.m.Else():
                    self.assign(domain, register)

    def counter(self) -> None:
        register = self.register(self.rng.randrange(2, MAX_WORD + 1))
        if register is None:
            return
        domain, last = self.domain(), self.rng.randrange(1, 1 << len(register))
        with self.m.If(register.as_unsigned() == last):
            self.m.d[domain] += register.eq(0)
        with self.m.Else():
            self.m.d[domain] += register.eq(register + 1)

    def switched(self) -> None:
        register = self.register(self.rng.randrange(1, 4))
        if register is None:
            return
        test, domain = self.value(1), self.domain()
        with self.m.Switch(test):
            for _ in range(self.rng.randrange(1, 4)):
                patterns = [
                    "".join(self.rng.choice("01-") for _ in range(len(test))) for _ in range(self.rng.randrange(1, 3))
                ]
                with self.m.Case(*patterns):
                    self.assign(domain, register)
            if self.rng.random() < 0.5:
                with self.m.Default():
                    self.assign(domain, register)

    def fsm(self) -> None:
        states = ["A", "B", "C", "D"][: self.rng.randrange(2, 5)]
        if self.bits_left < 2:
            return
        self.bits_left -= 2
        with self.m.FSM(domain=self.domain()) as machine:
            for state in states:
                with self.m.State(state), self.m.If(self.condition()):
                    self.m.next = self.rng.choice(states)
        flag = Signal(name=f"flag{len(self.leaves)}")
        self.m.d.comb += flag.eq(machine.ongoing(self.rng.choice(states)))
        self.leaves.append(flag)

    def enum_register(self) -> None:
        if self.bits_left < 2:
            return
        self.bits_left -= 2
        domain = self.domain()
        colour = Signal(Colour, init=self.rng.choice(list(Colour)))
        with self.m.Switch(colour):
            for member in Colour:
                with self.m.Case(member):
                    self.m.d[domain] += colour.eq(self.rng.choice(list(Colour)))
        with self.m.If(self.condition()):
            self.m.d[domain] += colour.eq(Colour.VIOLET)
        self.leaves.append(Value.cast(colour == Colour.ORANGE))
        self.leaves.append(Value.cast(colour))

    def struct_register(self) -> None:
        if self.bits_left < 3:
            return
        self.bits_left -= 3
        pair = Signal(PAIR, init={"low": self.rng.randrange(2), "high": self.rng.randrange(-2, 2)})
        self.m.d[self.domain()] += [pair.low.eq(self.condition()), pair.high.eq(self.value())]
        self.leaves += [pair.low, pair.high]

    def inserted(self) -> None:
        """A counter in a submodule that logic enables or resets."""
        if self.bits_left < 2:
            return
        self.bits_left -= 2
        domain, inner = self.domain(), Module()
        count = Signal(2, name=f"inner{len(self.leaves)}", init=self.rng.randrange(4))
        inner.d[domain] += count.eq(count + self.rng.choice([1, 3]))
        control = Signal(name=f"control{len(self.leaves)}")
        self.m.d.comb += control.eq(self.condition())
        insert = self.rng.choice([EnableInserter, ResetInserter])
        self.m.submodules[f"part{len(self.leaves)}"] = insert({domain: control})(inner)
        self.leaves.append(count)

    def rom(self) -> None:
        """A table that nothing writes, read at once or at a tick."""
        width, depth = self.rng.randrange(1, 4), self.rng.randrange(2, 9)
        contents = [self.rng.randrange(1 << width) for _ in range(depth)]
        table = memory.Memory(shape=width, depth=depth, init=contents)
        self.m.submodules[f"table{len(self.leaves)}"] = table
        if self.rng.random() < 0.4 and self.bits_left >= width:
            self.bits_left -= width
            port = table.read_port(domain=self.domain())
            self.m.d.comb += port.en.eq(self.condition())
        else:
            port = table.read_port(domain="comb")
        self.m.d.comb += port.addr.eq(self.value(1))
        self.leaves.append(port.data)

    def writable(self) -> None:
        """Two or three rows of one or two bits, written and read."""
        width, depth = self.rng.randrange(1, 3), self.rng.randrange(2, 4)
        if self.bits_left < width * (depth + 1):
            return
        self.bits_left -= width * depth
        domain = self.domain()
        contents = [self.rng.randrange(1 << width) for _ in range(depth)]
        store = memory.Memory(shape=width, depth=depth, init=contents)
        self.m.submodules[f"store{len(self.leaves)}"] = store
        write = store.write_port(domain=domain, granularity=self.rng.choice([None, 1]))
        self.m.d.comb += [
            write.addr.eq(self.value(1)), write.data.eq(self.value(1)), write.en.eq(self.value(1))
        ]  # fmt: skip
        if self.rng.random() < 0.5:
            self.bits_left -= width
            through = (write,) if self.rng.random() < 0.5 else ()
            read = store.read_port(domain=domain, transparent_for=through)
        else:
            read = store.read_port(domain="comb")
        self.m.d.comb += read.addr.eq(self.value(1))
        self.leaves.append(read.data)

    def array_of_registers(self) -> None:
        registers = [r for r in (self.register(2), self.register(2)) if r is not None]
        if registers:
            self.m.d[self.domain()] += Array(registers)[self.value(1).as_unsigned()[:1]].eq(self.value(1))

    def wire(self) -> None:
        shape = _shape(self.rng, MAX_WORD)
        init = -self.rng.randrange(2) if shape.signed else self.rng.randrange(2)
        wire = Signal(shape, name=f"w{len(self.leaves)}", init=init)
        with self.m.If(self.condition()):
            self.m.d.comb += wire.eq(self.value())
        self.leaves.append(wire)

    def drive(self, output: Value) -> None:
        """An output is a register of its own, or an expression of the rest."""
        if self.design.num_domains and self.rng.random() < 0.2 and self.bits_left >= len(output):
            self.bits_left -= len(output)
            with self.m.If(self.condition()):
                self.m.d[self.domain()] += output.eq(self.value(1))
        elif self.rng.random() < 0.5:
            self.m.d.comb += output.eq(self.value(1))
        else:
            self.m.d.comb += output.eq(self.value())

    def show_all(self, output: Value) -> None:
        """An output that every bit of every register, input and wire has a part in."""
        bits = Cat(self.leaves)
        width = len(output)
        self.m.d.comb += output.eq(Cat(bits[i::width].xor() for i in range(width)))


def random_machine(seed: int, max_ands: int = 60) -> Machine:
    """The machine of a seed: the first of its tries whose logic has at most `max_ands` two-input ANDs and, but
    for each tenth seed, at least one, and three registers that matter."""
    wanted = 3 if seed % 10 else 0
    for attempt in range(100):
        machine = _attempt(seed * 100 + attempt)
        logic = elaborate(machine).logic
        num_ands = sum(kind == AND for kind in logic.xag.kinds)
        if wanted <= len(logic.registers) and min(wanted, 1) <= num_ands <= max_ands:
            return machine
    raise AssertionError(f"no try of seed {seed} is small enough")


def _attempt(seed: int) -> Machine:
    rng = Dice(f"machine {seed}")
    design = RandomDesign(seed)
    sources = {domain: rng.choice([Ticker(seconds=1), Button()]) for domain in design.domains()}
    switches = {
        name: Switch(on=rng.randrange(1 << len(getattr(design, name))))
        for name in design.signature.members
        if name.startswith("in")
    }
    used = _used_domains(design)
    return Machine(
        RandomDesign(seed),
        clocks={name: source for name, source in sources.items() if name in used},
        reset=Button() if rng.random() < 0.7 else None,
        inputs=switches,
        name=f"random_{seed}",
    )


def _used_domains(design: RandomDesign) -> set[str]:
    """The domains that the drawn blocks came to use."""
    from hdl2grid.base.ports import component_ports
    from hdl2grid.logic.prepare import prepare

    return {domain.name for domain in prepare(design, component_ports(design)).domains}


def random_events(seed: int, machine: Machine, count: int) -> list[str]:
    """Events of a machine: mostly ticks, some flips, now and then a reset."""
    rng = Dice(f"events {seed}")
    kinds: list[Sequence[str]] = [list(machine.clocks)] * 6
    kinds.append([bit.name for bit in machine.input_ports()] if machine.clocks else [])
    if not machine.clocks:
        kinds = [[bit.name for bit in machine.input_ports()]]
    else:
        kinds += [[bit.name for bit in machine.input_ports()]] * 2
    if machine.reset is not None:
        kinds.append(["reset"])
    kinds = [kind for kind in kinds if kind]
    return [rng.choice(rng.choice(kinds)) for _ in range(count)]


def levels(session: HdlSession) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """What lock-step compares."""
    return session.outputs(), session.registers()
