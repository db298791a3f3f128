"""How a user says that a signal's code is meant."""

from __future__ import annotations

from amaranth.hdl import Signal

KEEP_CODE = "hdl2grid_keep_code"


def keep_code(signal: Signal) -> Signal:
    """Marks a signal whose registers are to stay as they are written: synthesis chooses no other code for them.

    Returns the signal. Signals that an output shows as they are need no mark.
    """
    signal.attrs[KEEP_CODE] = 1
    return signal
