"""Flips of switches: each moves one switch alone, so only what depends on that one switch must be even.

After the network is balanced for ticks and resets, this pass follows every switch through it. Where a flip
reaches a stack in two rounds, a signal that nothing but switches moves is delayed, if one delay suits all the
switches that it depends on.
"""

from __future__ import annotations

from collections.abc import Iterator

from hdl2grid.synth.timing.timed_network import Buffer, Timed

Arrivals = dict[int, int]


def settle_switches(timed: Timed, switches: range, free: set[int], next_signal: int) -> set[int]:
    """Adds delays to `timed` so that flips arrive evenly; the switches for which it could not.

    `free`: the switches and cells that may be delayed here.
    """
    arrivals: dict[int, Arrivals] = {s: {s: 0} for s in switches}
    delays: dict[tuple[int, int], int] = {}
    uneven: set[int] = set()
    for signal in list(in_order(timed)):
        lots = [timed.buffers[signal].inputs] if signal in timed.buffers else timed.toggles[signal]
        latest: Arrivals = {}
        for s in _all(lots):
            for switch, round_ in arrivals.get(s, {}).items():
                latest[switch] = max(round_, latest.get(switch, 0))
        late: dict[int, int] = {}
        for s in _all(lots):
            behind = {latest[switch] - round_ for switch, round_ in arrivals.get(s, {}).items()}
            if behind <= {0}:
                continue
            if len(behind) == 1 and s in free:
                late[s] = behind.pop()
            else:
                uneven |= {w for w, round_ in arrivals[s].items() if latest[w] != round_}
        if late and signal in timed.toggles:
            for s, rounds in sorted(late.items()):
                for k in range(1, rounds + 1):
                    if (s, k) not in delays:
                        delays[s, k] = next_signal
                        before = s if k == 1 else delays[s, k - 1]
                        timed.buffers[next_signal] = Buffer((before,), 1 << s, k)
                        arrivals[next_signal] = {w: r + k for w, r in arrivals[s].items()}
                        next_signal += 1
            timed.toggles[signal] = [
                tuple(sorted(delays[s, late[s]] if s in late else s for s in toggle)) for toggle in lots
            ]
        elif late:
            uneven |= {w for s in late for w in arrivals[s]}
        if latest:
            arrivals[signal] = {switch: round_ + 1 for switch, round_ in latest.items()}
    return uneven


def _all(lots: list[tuple[int, ...]]) -> Iterator[int]:
    for lot in lots:
        yield from lot


def in_order(timed: Timed) -> list[int]:
    """Cells and buffers, each after what feeds it."""
    order: list[int] = []
    done: set[int] = set()
    todo = [*reversed(timed.buffers), *reversed(timed.cells)]
    while todo:
        signal = todo[-1]
        waiting = [s for s in timed.feeds(signal) if s not in done and timed.is_plain(s)]
        if signal in done or not waiting:
            todo.pop()
            if signal not in done:
                done.add(signal)
                order.append(signal)
        else:
            todo.extend(waiting)
    return order
