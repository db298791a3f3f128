"""Checks what a machine is attached to: each function looks at one argument of `Machine`, and raises an
InputError that names the signal, its source line and the nearest right name."""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from enum import Enum
from typing import Any

from amaranth.hdl import Const, ShapeCastable
from amaranth.lib import wiring

from hdl2grid.base.errors import InputError, SourceLine, nearest
from hdl2grid.base.ports import Port, describe
from hdl2grid.base.sources import Button, Switch, Ticker, short
from hdl2grid.panel.panel import Panel

RESET = "reset"
NAME_LIMIT = 100
"""Characters of a machine's name, which titles drawings. Guessed."""


def check_component(component: object, source: SourceLine | None) -> None:
    if isinstance(component, wiring.Component):
        return
    if isinstance(component, type) and issubclass(component, wiring.Component):
        what = f"the class {component.__name__} was given to Machine instead of a component"
        raise InputError("M001", what, where=source, hint=f"Write Machine({component.__name__}(), ...).")
    raise InputError(
        "M001",
        f"a machine is made of an amaranth.lib.wiring.Component, not of {short(component)}",
        where=source,
        hint="Derive the class from wiring.Component and give its ports as In(...) and Out(...).",
    )


def check_name(name: object, source: SourceLine | None) -> None:
    if name is None:
        return
    if not isinstance(name, str) or not name.strip():
        raise InputError("M019", f"a machine's name must be a text, not {short(name)}", where=source)
    if len(name) > NAME_LIMIT or not name.isprintable() or "/" in name or "\\" in name:
        raise InputError(
            "M019",
            f"a machine's name is up to {NAME_LIMIT} printable characters without a slash, not {short(name)}",
            where=source,
        )


def clocks_of(clocks: object, source: SourceLine | None) -> dict[str, Ticker | Button]:
    """The clocks as given, checked: each key a domain's name, each value a Ticker or a Button."""
    if not isinstance(clocks, Mapping):
        raise InputError(
            "M003",
            f"clocks= must map domain names to tickers or buttons, not be {short(clocks)}",
            where=source,
            hint='For example clocks={"sync": Ticker(seconds=60)}.',
        )
    for domain, clock in clocks.items():
        _check_domain_name(domain, source)
        if not isinstance(clock, (Ticker, Button)):
            raise InputError(
                "M005",
                f"domain '{domain}' is clocked by {_given(clock)}; it takes a Ticker or a Button",
                where=source,
                hint="Write Ticker(seconds=60) or Button().",
            )
    return dict(clocks)


def _check_domain_name(domain: object, source: SourceLine | None) -> None:
    if not isinstance(domain, str) or not domain.isidentifier():
        raise InputError(
            "M004", f"{short(domain)} is not the name of a clock domain", where=source,
            hint='A domain\'s name is a word, such as "sync".',
        )  # fmt: skip
    if domain == "comb":
        raise InputError(
            "M004", "'comb' is Amaranth's combinational logic; it has no clock", where=source,
            hint='Registers live in a clock domain, such as "sync".',
        )  # fmt: skip


def check_reset(reset: object, source: SourceLine | None) -> None:
    if reset is not None and not isinstance(reset, Button):
        raise InputError(
            "M007", f"reset= takes a Button, not {_given(reset)}", where=source, hint="Write reset=Button()."
        )


def check_names(
    ports: tuple[Port, ...], clocks: Mapping[str, object], reset: Button | None, source: SourceLine | None
) -> None:
    """Sources and ports share one set of names: a port may not be called like a domain or `reset`."""
    if RESET in clocks:
        raise InputError(
            "M013",
            "a clock domain is called 'reset', which is the name of the reset button's event",
            where=source,
            hint="Rename the domain.",
        )
    for port in ports:
        if port.name in clocks:
            raise InputError(
                "M013",
                f"port '{port.name}' is called like a clock domain, so the name would stand for two things",
                where=port.source,
                hint="Rename the port or the domain.",
            )
        if port.name == RESET:
            raise InputError(
                "M013",
                "a port is called 'reset', which is the name of the reset button's event",
                where=port.source,
                hint="Rename the port, or leave it out and use Machine(..., reset=Button()).",
            )


def inputs_of(inputs: object, ports: tuple[Port, ...], source: SourceLine | None) -> dict[str, Switch]:
    """The switches by port, checked against the ports: none unknown, none missing."""
    if not isinstance(inputs, Mapping):
        raise InputError(
            "M008",
            f"inputs= must map input ports to switches, not be {short(inputs)}",
            where=source,
            hint='For example inputs={"hold": Switch()}.',
        )
    by_name = {port.name: port for port in ports}
    switched = [port for port in ports if port.is_input]
    for name, switch in inputs.items():
        port = by_name.get(name)
        if port is None:
            raise InputError(
                "M009",
                f"inputs= names {short(name)}, but the component has no such port",
                where=source,
                hint=nearest(str(name), (p.name for p in switched)) or "The component has no inputs.",
            )
        _check_switch(port, switch, source)
    missing = [port for port in switched if port.width and port.name not in inputs]
    if missing:
        names = ", ".join(f"'{port.name}'" for port in missing)
        raise InputError(
            "M011",
            f"no switch sets the input{'s' if len(missing) > 1 else ''} {names}",
            where=missing[0].source,
            hint=f'Write inputs={{"{missing[0].name}": Switch()}} in Machine(...) ({source}).',
        )
    return {port.name: inputs[port.name] for port in switched if port.name in inputs}


def _check_switch(port: Port, switch: object, source: SourceLine | None) -> None:
    if not port.is_input:
        raise InputError(
            "M010",
            f"inputs= names '{port.name}', which is an output (declared at {port.source})",
            where=source,
            hint="Switches set inputs. Outputs are shown by the panel.",
        )
    if not isinstance(switch, Switch):
        raise InputError(
            "M008",
            f"input '{port.name}' is set by {_given(switch)}; it takes a Switch",
            where=source,
            hint="Write Switch(). A button clocks a domain: clocks={...}.",
        )


def initial_levels(inputs: Mapping[str, Switch], ports: tuple[Port, ...], source: SourceLine | None) -> dict[str, int]:
    """The first level of each input bit, by its flat name. Raises InputError M012 where `on` does not fit."""
    levels: dict[str, int] = {}
    for port in ports:
        if port.is_input and port.width:
            word = _word(port, inputs[port.name].on, source)
            levels.update((bit.name, word >> bit.index & 1) for bit in port.bits)
    return levels


def _word(port: Port, on: Any, source: SourceLine | None) -> int:
    """`on` as an unsigned number of the port's width."""
    if isinstance(on, bool) and on and port.width > 1:
        raise InputError(
            "M012",
            f"Switch(on=True) does not say which of the switches of '{port.name}' start on; {describe(port)}",
            where=source,
            hint=f"Write the word: on=0b{'1' * port.width} for all of them.",
        )
    value = _number(port, on, source)
    low = -(1 << port.width - 1) if port.value.shape().signed else 0
    if not low <= value < 1 << port.width:
        raise InputError(
            "M012",
            f"Switch(on={short(on)}) does not fit '{port.name}'; {describe(port)}",
            where=source,
            hint=f"It must lie between {low} and {(1 << port.width) - 1}.",
        )
    return value & (1 << port.width) - 1


def _number(port: Port, on: Any, source: SourceLine | None) -> int:
    if isinstance(on, int) and not isinstance(on, Enum):
        return int(on)
    try:
        if isinstance(port.shape, ShapeCastable):
            return int(Const.cast(port.shape.const(on)).value)
        return int(Const.cast(on).value)
    except Exception as error:
        raise InputError(
            "M012",
            f"Switch(on={short(on)}) is no level of '{port.name}': {error}",
            where=source,
            hint="Write a bool, or for several bits a number such as on=0b1010.",
        ) from error


def check_panel(panel: object, ports: tuple[Port, ...], source: SourceLine | None) -> None:
    """Every pixel must show one bit of an output."""
    if panel is None:
        return
    if not isinstance(panel, Panel):
        raise InputError(
            "M014",
            f"panel= takes a hdl2grid.panel.Panel, not {_given(panel)}",
            where=source,
            hint='For example panel=seven_segment("ones").',
        )
    bits = {bit.name for port in ports if not port.is_input for bit in port.bits}
    for pixel in panel.pixels:
        if pixel.signal not in bits:
            raise _bad_pixel(pixel.x, pixel.y, pixel.signal, ports, panel.source or source)


def _bad_pixel(x: int, y: int, signal: str, ports: tuple[Port, ...], where: SourceLine | None) -> InputError:
    by_name = {port.name: port for port in ports}
    what = f"pixel ({x},{y}) shows {signal}"
    name, bracket, index = signal.partition("[")
    port = by_name.get(name)
    if port is None:
        outputs = (p.name for p in ports if not p.is_input)
        hint = nearest(name, outputs) or "The component has no outputs."
        return InputError("M015", f"{what}, but the component has no port '{name}'", where=where, hint=hint)
    if port.is_input:
        return InputError(
            "M017",
            f"{what}, which is an input (declared at {port.source})",
            where=where,
            hint="A panel shows outputs. Give the component an output that equals the input.",
        )
    what = f"{what}; {describe(port)} ({port.source})"
    if port.width == 0:
        return InputError("M016", what, where=where, hint="A port of no bits cannot be shown.")
    if port.width == 1:
        return InputError("M016", what, where=where, hint=f"Write '{name}', without an index.")
    hint = f"Its bits are {name}[0] to {name}[{port.width - 1}]."
    return InputError("M016", what, where=where, hint=hint)


def checks_of(check: object, source: SourceLine | None) -> tuple[Any, ...]:
    """The checks as a tuple of async functions of one parameter (ctx) or two (ctx, component)."""
    if check is None:
        return ()
    several = isinstance(check, Iterable) and not isinstance(check, (str, bytes)) and not callable(check)
    checks = tuple(check) if several else (check,)  # type: ignore[arg-type]
    for one in checks:
        _check_check(one, source)
    return checks


def _check_check(check: Any, source: SourceLine | None) -> None:
    if inspect.iscoroutine(check):
        check.close()
        raise InputError(
            "M018", "check= was given a check that is already called", where=source,
            hint="Give the function itself, without brackets: check=my_check.",
        )  # fmt: skip
    if not inspect.iscoroutinefunction(check):
        raise InputError(
            "M018", f"check= takes an async function, not {_given(check)}", where=source,
            hint="Write: async def check(ctx): ...",
        )  # fmt: skip
    if num_parameters(check) not in (1, 2):
        raise InputError(
            "M018", f"the check '{check_name_of(check)}' must take (ctx) or (ctx, component)", where=source
        )


def num_parameters(check: Any) -> int | None:
    """How many positional arguments a check wants, 1 or 2; None if neither will do."""
    signature = inspect.signature(check)
    required = [
        p
        for p in signature.parameters.values()
        if p.default is p.empty and p.kind in (p.POSITIONAL_ONLY, p.POSITIONAL_OR_KEYWORD)
    ]
    count = max(1, len(required))
    try:
        signature.bind(*range(count))
    except TypeError:
        return None
    return count if count <= 2 else None


def check_name_of(check: Any) -> str:
    """The name that messages and reports call a check by."""
    function = check
    while hasattr(function, "func"):  # functools.partial
        function = function.func
    return str(getattr(function, "__name__", "check"))


def _given(value: object) -> str:
    if isinstance(value, type):
        return f"the class {value.__name__} (the brackets are missing: {value.__name__}())"
    return short(value)
