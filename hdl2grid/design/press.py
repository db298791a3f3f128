"""`await press(ctx, "white")`: how a check presses a button of the machine that it runs on."""

from __future__ import annotations

from typing import Any, Protocol
from weakref import WeakKeyDictionary

from hdl2grid.base.errors import InputError
from hdl2grid.base.userline import user_line


class Bench(Protocol):
    """The running simulation behind a check's `ctx`."""

    async def press(self, ctx: Any, name: str) -> None: ...


BENCHES: WeakKeyDictionary[Any, Bench] = WeakKeyDictionary()


async def press(ctx: Any, name: str) -> None:
    """Press the button `name` of the machine under check: a clock domain that has a Button, or "reset". The
    name of a switch flips it.

    `ctx` is what the check was called with. When it returns, the press has had its effect. Raises InputError
    M062 for a name that is no button or switch of the machine, M063 for a `ctx` that is not a check's.
    """
    bench = BENCHES.get(ctx)
    if bench is None:
        raise InputError(
            "M063",
            "press() was called outside of a machine's check",
            where=user_line(),
            hint="Use it in an async function that Machine(..., check=...) names, with that function's ctx.",
        )
    await bench.press(ctx, name)
