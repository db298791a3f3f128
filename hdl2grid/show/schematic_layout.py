"""Where the parts of a circuit drawing stand and how its lines run.

Parts stand in columns by depth, after K. Sugiyama, S. Tagawa and M. Toda, Methods for visual understanding of
hierarchical system structures, IEEE Trans. SMC 11, 1981: lines that pass a column get a place in it, and each
column is ordered by the barycentres of its neighbours. Between two columns each net has one vertical trunk; the
trunks share tracks by the left-edge algorithm (A. Hashimoto and J. Stevens, Wire routing by optimizing channel
assignment within large apertures, DAC 1971). Outputs lie on whole pitches and inputs halfway between, so that no
two lines lie on each other.

Clocks, sources and all that leads to a flip-flop are told by name instead of by a line.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from hdl2grid.show.circuit_parts import Part

SWEEPS = 8
"""Times that the columns are ordered, by turns from the left and from the right. Guessed."""

_DEEP = ("sum", "gate")


@dataclass
class Node:
    """A part, or the passage of a line through a column (`part` None). In pitches: `top`, and `height`.

    `feeds` are the inputs that lines lead to: for each the node that drives it, or None where it is told by name.
    """

    net: int
    part: Part | None
    column: int
    feeds: list[int | None] = field(default_factory=list)
    top: int = 0

    @property
    def rows(self) -> int:
        """Pitches that the symbol is high."""
        if self.part is None:
            return 1
        return max(2, len(self.feeds) + (self.part.kind == "flipflop"))

    @property
    def height(self) -> int:
        """Pitches that it takes, its name and the gap below it included."""
        return 1 if self.part is None else self.rows + 2

    def pin(self, index: int) -> float:
        """Where an input lies, in pitches from the top of the drawing."""
        return self.top + 0.5 if self.part is None else self.top + 1.5 + index

    @property
    def out(self) -> int:
        """Where the output lies."""
        return self.top + 1 if self.part is None else self.top + 1 + self.rows // 2


@dataclass(frozen=True)
class Trunk:
    """The vertical line of a net in the channel after a column: its track, the output that it comes from, and
    the inputs that it leads to, each as (node, index of its input)."""

    channel: int
    track: int
    source: int
    sinks: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Layout:
    """Nodes column by column, and the trunks. `tracks[c]` is the number of tracks after column `c`."""

    nodes: tuple[Node, ...]
    columns: tuple[tuple[int, ...], ...]
    trunks: tuple[Trunk, ...]
    tracks: tuple[int, ...]


def lay_out_parts(parts: tuple[Part, ...]) -> Layout:
    """The layout of a circuit drawing."""
    nodes, columns = _place_in_columns(parts)
    _order(nodes, columns)
    _set_tops(nodes, columns)
    trunks, tracks = _route(nodes, columns)
    return Layout(tuple(nodes), tuple(tuple(column) for column in columns), tuple(trunks), tuple(tracks))


def _depths(parts: tuple[Part, ...]) -> list[int]:
    """The column of each part: sources 0, flip-flops 1, sums and gates after all that drives them, lamps last."""
    number = {part.name: i for i, part in enumerate(parts) if part.kind != "lamp"}
    depth = [{"source": 0, "flipflop": 1}.get(part.kind, 2) for part in parts]
    for _ in parts:
        moved = False
        for i, part in enumerate(parts):
            if part.kind not in _DEEP:
                continue
            behind = [number[d] for one in part.inputs for d in one.drivers if d in number]
            least = 1 + max((depth[j] for j in behind if parts[j].kind in _DEEP), default=1)
            if least > depth[i] and least <= len(parts):
                depth[i], moved = least, True
        if not moved:
            break
    last = max((d for d, part in zip(depth, parts, strict=True) if part.kind in _DEEP), default=1)
    used = sorted({last + 1 if part.kind == "lamp" else d for d, part in zip(depth, parts, strict=True)})
    return [used.index(last + 1 if part.kind == "lamp" else d) for d, part in zip(depth, parts, strict=True)]


def _place_in_columns(parts: tuple[Part, ...]) -> tuple[list[Node], list[list[int]]]:
    depth = _depths(parts)
    nodes = [Node(i, part, depth[i]) for i, part in enumerate(parts)]
    columns: list[list[int]] = [[] for _ in range(max(depth, default=0) + 1)]
    for i, node in enumerate(nodes):
        columns[node.column].append(i)
    number = {part.name: i for i, part in enumerate(parts) if part.kind != "lamp"}
    passing: dict[tuple[int, int], int] = {}

    def carried(driver: int, column: int) -> int:
        """The node that offers a driver's net to `column`: itself, or its passage in the column before."""
        at = driver
        for c in range(nodes[driver].column + 1, column):
            if (driver, c) not in passing:
                passing[driver, c] = len(nodes)
                columns[c].append(len(nodes))
                nodes.append(Node(driver, None, c, [at]))
            at = passing[driver, c]
        return at

    for i, part in enumerate(parts):
        for one in part.inputs:
            for name in one.drivers or ("",):
                driver = number.get(name)
                drawn = driver is not None and _has_line(parts[driver], part) and depth[driver] < depth[i]
                nodes[i].feeds.append(carried(driver, depth[i]) if drawn and driver is not None else None)
    return nodes, columns


def _has_line(driver: Part, sink: Part) -> bool:
    return sink.kind != "flipflop" and driver.kind != "source"


def _order(nodes: list[Node], columns: list[list[int]]) -> None:
    """Sweeps to and fro, each column sorted by the mean place of the nodes that it is joined to."""
    fed: list[list[int]] = [[] for _ in nodes]
    for i, node in enumerate(nodes):
        for feed in node.feeds:
            if feed is not None:
                fed[feed].append(i)
    for sweep in range(SWEEPS):
        forward = sweep % 2 == 0
        place = {i: p / max(1, len(column)) for column in columns for p, i in enumerate(column)}
        for column in columns[1:] if forward else columns[-2::-1]:
            mean = {}
            for position, i in enumerate(column):
                near = [f for f in nodes[i].feeds if f is not None] if forward else fed[i]
                own = position / max(1, len(column))
                mean[i] = sum(place[j] for j in near) / len(near) if near else own
            column.sort(key=lambda i: (mean[i], i))
            place |= {i: p / len(column) for p, i in enumerate(column)}


def _set_tops(nodes: list[Node], columns: list[list[int]]) -> None:
    """From left to right, each node as near to the height of what feeds it as those above it allow."""
    for column in columns:
        free = 0
        for i in column:
            node = nodes[i]
            feeds = [nodes[f].out for f in node.feeds if f is not None]
            wanted = round(sum(feeds) / len(feeds)) - node.height // 2 if feeds else free
            node.top = max(free, wanted)
            free = node.top + node.height


def _route(nodes: list[Node], columns: list[list[int]]) -> tuple[list[Trunk], list[int]]:
    sinks: dict[int, list[tuple[int, int]]] = {}
    for i, node in enumerate(nodes):
        for index, feed in enumerate(node.feeds):
            if feed is not None:
                sinks.setdefault(feed, []).append((i, index))
    trunks: list[Trunk] = []
    tracks = []
    for channel, column in enumerate(columns):
        spans = []
        for i in column:
            ends = [float(nodes[i].out), *(nodes[j].pin(index) for j, index in sinks.get(i, []))]
            if len(ends) > 1:
                spans.append((min(ends), max(ends), i))
        ends_at: list[float] = []
        for low, high, i in sorted(spans):
            track = next((t for t, end in enumerate(ends_at) if end < low), len(ends_at))
            ends_at[track : track + 1] = [high]
            trunks.append(Trunk(channel, track, i, tuple(sinks[i])))
        tracks.append(len(ends_at))
    return trunks, tracks
