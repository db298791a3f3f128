"""The contract with Amaranth's private netlist: what `logic/amaranth_netlist.py` and `logic/prepare.py` rely on.

When Amaranth changes, these tests say what to look at.
"""

from __future__ import annotations

import inspect
import re

from amaranth.hdl import Fragment, Module, Signal, _ir, _nir, signed
from amaranth.lib import memory
from amaranth.lib.wiring import In, Out
from support.filled_design import Design, machine_of

from hdl2grid.logic.amaranth_netlist import read_netlist
from hdl2grid.logic.cells import AssignmentList, Matches, Operator, PriorityMatch
from hdl2grid.logic.prepare import prepare, simulator_of

FIELDS = {
    _nir.Operator: {"operator", "inputs", "width", "src_loc", "module_idx"},
    _nir.Part: {"value", "value_signed", "offset", "width", "stride", "src_loc"},
    _nir.Matches: {"value", "patterns", "src_loc"},
    _nir.PriorityMatch: {"en", "inputs", "src_loc"},
    _nir.AssignmentList: {"default", "assignments", "src_loc"},
    _nir.FlipFlop: {"data", "init", "clk", "clk_edge", "arst", "src_loc", "module_idx"},
    _nir.Memory: {"width", "depth", "init", "name", "src_loc", "module_idx"},
    _nir.SyncWritePort: {"memory", "data", "addr", "en", "clk", "clk_edge", "src_loc"},
    _nir.AsyncReadPort: {"memory", "width", "addr", "src_loc"},
    _nir.SyncReadPort: {"memory", "width", "addr", "en", "clk", "transparent_for", "src_loc"},
}


def test_every_kind_of_cell_is_known():
    kinds = {name for name, kind in vars(_nir).items() if inspect.isclass(kind) and issubclass(kind, _nir.Cell)}
    assert kinds == {kind.__name__ for kind in FIELDS} | {
        "Cell", "Top", "AsyncPrint", "SyncPrint", "Initial", "AnyValue", "AsyncProperty", "SyncProperty",
        "Instance", "IOBuffer",
    }  # fmt: skip


def test_every_operator_is_known():
    known = "~ - + * & ^ | u// s// u% s% << u>> s>> b r& r^ r| == != u< s< u> s> u<= s<= u>= s>= m"
    named = re.findall(r"'([^' ,()]+)'", inspect.getsource(_nir.Operator.width.fget))
    assert sorted(named) == sorted(known.split())


def _netlist():
    def fill(self, m):
        m.submodules.store = store = memory.Memory(shape=2, depth=3, init=[1, 2, 3])
        write, read, now = store.write_port(), store.read_port(), store.read_port(domain="comb")
        m.d.comb += [write.addr.eq(self.a), write.data.eq(self.a >> 1), write.en.eq(1), read.addr.eq(self.a)]
        m.d.comb += [now.addr.eq(self.a), self.y.eq(self.a.bit_select(self.a[:1], 2) + read.data * now.data)]
        with m.Switch(self.a), m.Case(0b010, 0b101):
            m.d.sync += self.z.eq(self.z - 1)

    return prepare(Design({"a": In(3), "y": Out(4), "z": Out(signed(2))}, fill), ())


def test_cells_have_the_fields_that_we_read():
    netlist = _ir.build_netlist(_netlist().design)
    seen = set()
    for cell in netlist.cells:
        fields = FIELDS.get(type(cell), set())
        assert all(hasattr(cell, name) for name in fields), type(cell)
        seen.add(type(cell))
    assert seen == set(FIELDS) | {_nir.Top}
    late, net = next(iter(netlist.connections.items()))
    assert int(late) < 0 and late in netlist.late_to_signal and isinstance(net, _nir.Net)
    assert netlist.modules[0].name == ("top",)
    assert {"ports_i", "ports_o"} <= set(vars(netlist.top))


def test_what_is_read_of_a_small_design():
    """The cells of one enabled counter, as we see them: a golden reading."""

    def fill(self, m):
        with m.If(self.go):
            m.d.sync += self.y.eq(self.y + 1)

    machine = machine_of({"go": In(1), "y": Out(2, init=1)}, fill)
    prepared = prepare(machine.component, machine.ports())
    reading = read_netlist(prepared, machine.ports(), lambda domain: None)
    netlist = reading.netlist
    go, y = netlist.inputs[0].net, tuple(register.output for register in netlist.registers)
    add, matches, choice, assign = (
        next(cell for cell in netlist.cells if isinstance(cell, kind))
        for kind in (Operator, Matches, PriorityMatch, AssignmentList)
    )
    assert (add.op, add.operands) == ("+", ((*y, 0), (1, 0, 0)))
    assert (matches.value, matches.patterns) == ((go,), ("1",))
    assert (choice.enable, choice.inputs) == (1, matches.outputs)
    step, reset = assign.assignments
    assert reset.value == (1, 0)
    assert (assign.default, step.condition, step.start, step.value) == (y, choice.outputs[0], 0, add.outputs[:2])
    assert [(r.name, r.data, r.init, r.domain, r.resettable) for r in netlist.registers] == [
        ("y[0]", assign.outputs[0], 1, "sync", True),
        ("y[1]", assign.outputs[1], 0, "sync", True),
    ]
    assert reading.used_domains == ("sync",)


def test_one_prepared_design_serves_many_simulators():
    prepared = _netlist()
    assert Fragment.get(prepared.design.fragment, None) is prepared.design.fragment
    for _ in range(2):
        simulator = simulator_of(prepared.design)
        simulator.add_clock(1)
        simulator.run_until(3)


def test_the_simulators_state_is_where_the_referee_looks_for_it():
    m, count = Module(), Signal(3, init=2)
    m.d.sync += count.eq(count + 1)
    simulator = simulator_of(Fragment.get(m, None).prepare())
    seen = []

    async def bench(context):
        state = context._engine.state
        slot = state.slots[state.get_signal(count)]
        seen.append((slot.curr, slot.next))
        slot.update(5)
        context._engine.step_design()
        seen.append((slot.curr, context.get(count)))

    simulator.add_testbench(bench)
    simulator.run()
    assert seen == [(2, 2), (5, 5)]
