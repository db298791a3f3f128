"""Amaranth's waveforms made fit to keep: a coarser time unit, no date, and the same bytes at every run.

The simulator writes femtoseconds, which for an hour of a clock do not fit the 64 bits of common viewers, and
changes of one moment in no fixed order.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

_UNITS = ("fs", "ps", "ns", "us", "ms", "s")
_CHANGE = re.compile(r"(?:[01xzXZ]|[bBrR][0-9a-zA-Z.+-]+ |s\S* )(\S+)$")


def time_unit(femtoseconds: int) -> tuple[int, str]:
    """The largest unit of IEEE 1364 (1, 10 or 100 of fs to s) that is not above `femtoseconds`: its length in
    femtoseconds, and how it is written."""
    exponent = min(len(str(max(1, femtoseconds))) - 1, 17)
    return 10**exponent, f"{10 ** (exponent % 3)} {_UNITS[exponent // 3]}"


def tidy_vcd(lines: Iterable[str], unit_fs: int, comment: str) -> Iterator[str]:
    """The lines of a waveform of Amaranth's, with times in units of `unit_fs` (a power of ten), the variables
    of a scope and the changes of a moment sorted, and only the last of several changes of a variable."""
    source = iter(lines)
    yield f"$comment {comment} $end\n"
    yield f"$timescale {time_unit(unit_fs)[1]} $end\n"
    yield from _header(source)
    changes: dict[str, str] = {}
    dump: list[str] = []
    time: int | None = None
    for line in source:
        if line.startswith("#"):
            now = round(int(line[1:]) / unit_fs)
            if now != time:
                yield from _moment(time, changes, dump)
                time, changes, dump = now, {}, []
        elif line.startswith("$"):
            dump.append(line)
        elif match := _CHANGE.match(line.rstrip("\n")):
            changes[match[1]] = line
    yield from _moment(time, changes, dump)


def _header(source: Iterator[str]) -> Iterator[str]:
    variables: list[str] = []
    for line in source:
        if line.startswith(("$comment", "$date", "$timescale")):
            continue
        if line.startswith("$var"):
            variables.append(line)
            continue
        yield from sorted(variables)
        variables = []
        yield line
        if line.startswith("$enddefinitions"):
            return


def _moment(time: int | None, changes: dict[str, str], dump: list[str]) -> Iterator[str]:
    if time is None:
        return
    yield f"#{time}\n"
    yield from dump[:1]
    for name in sorted(changes, key=lambda key: (len(key), key)):
        yield changes[name]
    yield from dump[1:]
