"""Find the blocks of a netlist: sets of cells that are wired among themselves, and to the panel, in the same way.

A graph is matched with itself from anchors on: pixels of the panel that stand alike, or cells that look alike (colours
refined by their neighbours', B. Weisfeiler, A. Leman, 1968). The pair of cells that most of the pairs already found
speak for comes next, until none does. What is found is exact in the end: only sinks and signals that correspond in
all copies count as common; whatever else a copy is wired to, it is wired to by itself.
"""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from dataclasses import dataclass

from hdl2grid.nets.model import Netlist

LEAST_CELLS = 3
"""Cells of the smallest block that is matched. Guessed."""
LEAST_COMMON = 0.7
"""The share of a block's connections that all copies must have. Guessed."""
MOST_SEEDS = 24
"""Pairs of cells, or classes of them, from which a block is grown at most. Guessed."""
MOST_REPEATS, MOST_COPIES = 40, 16
"""Blocks that are looked for, and copies of one, at most. Guessed."""
Pair = tuple[int, int]


@dataclass(frozen=True)
class MatchedBlock:
    """One block and its copies: row k of `cells`, `tiles`, `signals` and `variables` (sink, signal) is copy k, and
    what stands in one column corresponds. `offsets` are the places of the copies from the first, in tiles, where the
    panel gives them; empty where they are free."""

    cells: tuple[tuple[int, ...], ...]
    tiles: tuple[tuple[int, ...], ...]
    signals: tuple[tuple[int, ...], ...]
    variables: tuple[tuple[Pair, ...], ...]
    offsets: tuple[Pair, ...]


def find_matched_blocks(netlist: Netlist) -> tuple[MatchedBlock, ...]:
    """The blocks of a netlist, largest first; no cell is in two of them."""
    graph = _Graph(netlist)
    used = {cell for cell, _, _ in netlist.site.pinned}
    found = []
    for _ in range(MOST_REPEATS):
        best = _largest(graph, used)
        if best is None:
            break
        block = _pruned(graph, *best)
        if block is None:
            used.update(best[0])
            continue
        found.append(block)
        for row in block.cells:
            used.update(row)
    return tuple(sorted(found, key=lambda r: (-len(r.cells[0]), r.cells[0])))


def _pruned(
    graph: _Graph, domain: list[int], maps: list[dict[int, int]], anchors: list[list[Pair]], offsets: list[Pair | None]
) -> MatchedBlock | None:
    """The block without the cells most of whose connections are not common to all copies; None if little is left."""
    while len(domain) >= LEAST_CELLS:
        block = graph.block(domain, maps, anchors, offsets)
        share = graph.common(block)
        poor = min(domain, key=lambda c: (share[c][0] / max(1, share[c][1]), c))
        total = sum(a for a, _ in share.values()) / max(1, sum(b for _, b in share.values()))
        if share[poor][0] >= 0.5 * share[poor][1] and total >= LEAST_COMMON:
            return block
        domain = [c for c in domain if c != poor]
    return None


def _largest(
    graph: _Graph, used: set[int]
) -> tuple[list[int], list[dict[int, int]], list[list[Pair]], list[Pair | None]] | None:
    """The largest block that has a copy, and all its copies: its cells, and for each copy the map to its cells, the
    pairs of the panel's sinks and the offset on the panel."""
    best: tuple[int, int, dict[int, int], list[Pair], Pair | None] | None = None
    seeds = graph.seeds(used)
    for number, (anchors, pairs, offset) in enumerate(seeds):
        for part in graph.parts(graph.extend(anchors, pairs, used, None)):
            if len(part) >= LEAST_CELLS and (best is None or len(part) > best[0]):
                best = len(part), number, part, anchors, offset
    if best is None:
        return None
    maps, offsets = [best[2]], [best[4]]
    anchor_lists = [best[3]]
    domain = set(best[2])
    taken = used | domain | set(best[2].values())
    while len(maps) + 1 < MOST_COPIES:
        further: tuple[int, dict[int, int], list[Pair], Pair | None] | None = None
        for anchors, pairs, offset in seeds:
            if (offset is None) != (offsets[0] is None):
                continue
            start = [(a, b) for a, b in pairs if a in domain and b not in taken]
            if offset is None and not start:
                continue
            grown = graph.extend(anchors, start, taken - domain, domain)
            if any(image in domain for image in grown.values()):
                continue
            if len(grown) >= LEAST_CELLS and (further is None or len(grown) > further[0]):
                further = len(grown), grown, anchors, offset
        if further is None or further[0] * (len(maps) + 2) <= len(domain) * (len(maps) + 1):
            break
        maps.append(further[1])
        anchor_lists.append(further[2])
        offsets.append(further[3])
        domain &= set(further[1])
        taken |= set(further[1].values())
    return sorted(domain), maps, anchor_lists, offsets


class _Graph:
    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        cells, tiles = netlist.cells, netlist.tiles
        self.driven: list[dict[int, int]] = [{} for _ in cells]  # cell: place of a driver's tile -> signal
        self.place = {t: i for c in cells for i, t in enumerate(c.tiles)}
        self.driver_cells = [sorted({tiles[t].cell for t in s.tiles}) for s in netlist.signals]
        for s, signal in enumerate(netlist.signals):
            for t in signal.tiles:
                self.driven[tiles[t].cell][self.place[t]] = s
        self.sinks_of: list[list[int]] = [[] for _ in cells]
        self.readers: list[list[int]] = [[] for _ in netlist.signals]
        self.panel_sinks: list[int] = []
        self.sink_cell: list[int] = []
        for k, sink in enumerate(netlist.sinks):
            cell = tiles[sink.tiles[0]].cell
            self.sink_cell.append(cell)
            if cells[cell].kind == "panel":
                self.panel_sinks.append(k)
            else:
                self.sinks_of[cell].append(k)
            for s in sink.signals:
                self.readers[s].append(k)
        self.colour = self._refined(3)

    def _kind(self, cell: int) -> tuple[object, ...]:
        c = self.netlist.cells[cell]
        devices = tuple(self.netlist.tiles[t].device.kind for t in c.tiles)
        return c.kind, c.width, c.height, c.mirrorable, len(c.exchangeable), devices

    def _refined(self, rounds: int) -> list[int]:
        """A number for each cell, alike where the surroundings look alike as far as `rounds` steps."""
        kinds: dict[object, int] = {}
        colour = [kinds.setdefault(self._kind(c), len(kinds)) for c in range(len(self.netlist.cells))]
        for _ in range(rounds):
            kinds = {}
            around = []
            for c in range(len(colour)):
                reads = sorted(
                    tuple(sorted(colour[d] for s in self.netlist.sinks[k].signals for d in self.driver_cells[s]))
                    for k in self.sinks_of[c]
                )
                feeds = sorted(colour[self.sink_cell[k]] for s in set(self.driven[c].values()) for k in self.readers[s])
                around.append((colour[c], tuple(reads), tuple(feeds)))
            colour = [kinds.setdefault(key, len(kinds)) for key in around]
        return colour

    def seeds(self, used: set[int]) -> list[tuple[list[Pair], list[Pair], Pair | None]]:
        """What to begin from: (pairs of the panel's sinks, pairs of cells, offset on the panel)."""
        tiles = self.netlist.tiles
        by_shape: dict[tuple[Pair, ...], list[tuple[Pair, int]]] = defaultdict(list)
        for k in self.panel_sinks:
            places = [(tiles[t].dx, tiles[t].dy) for t in self.netlist.sinks[k].tiles]
            x, y = min(p[0] for p in places), min(p[1] for p in places)
            by_shape[tuple(sorted((px - x, py - y) for px, py in places))].append(((x, y), k))
        pairs: dict[Pair, list[Pair]] = defaultdict(list)
        for row in by_shape.values():
            for (ax, ay), a in row:
                for (bx, by), b in row:
                    if a != b and (bx - ax, by - ay) > (0, 0):
                        pairs[bx - ax, by - ay].append((a, b))
        offsets = sorted((d for d in pairs if len(pairs[d]) >= 4), key=lambda d: (-len(pairs[d]), d))
        out: list[tuple[list[Pair], list[Pair], Pair | None]] = [(pairs[d], [], d) for d in offsets[:MOST_SEEDS]]
        alike: dict[int, list[int]] = defaultdict(list)
        for c, colour in enumerate(self.colour):
            if c not in used and self.netlist.cells[c].kind != "panel" and self.sinks_of[c]:
                alike[colour].append(c)
        classes = sorted((cells for cells in alike.values() if 2 <= len(cells) <= 12), key=lambda r: (len(r), r))
        for cells in classes[:MOST_SEEDS]:
            out += [([], [(cells[0], other)], None) for other in cells[1:]]
        return out

    def _fit(self, a: int, b: int) -> bool:
        cells = self.netlist.cells
        if a == b or cells[a].kind == "panel" or self._kind(a) != self._kind(b):
            return False
        if sorted(self.driven[a]) != sorted(self.driven[b]):
            return False
        return all(
            len(self.driver_cells[s]) == len(self.driver_cells[self.driven[b][i]]) for i, s in self.driven[a].items()
        )

    def _score(self, a: int, b: int, signal: dict[int, int], sink: dict[int, int]) -> float:
        """How much speaks for a pair of cells: what they have in common with the pairs that are known, less what
        only one of them has."""
        images = set(signal.values())
        score = 0.5 if self.colour[a] == self.colour[b] else 0.0
        for i, s in self.driven[a].items():
            t = self.driven[b][i]
            theirs = set(self.readers[t])
            known = [k for k in self.readers[s] if k in sink]
            both = sum(sink[k] in theirs for k in known)
            score += both - 0.5 * (len(known) - both)
        mine = Counter(s for k in self.sinks_of[a] for s in self.netlist.sinks[k].signals)
        its = Counter(s for k in self.sinks_of[b] for s in self.netlist.sinks[k].signals)
        for s, count in mine.items():
            if s in signal:
                score += 1.0 if its[signal[s]] == count else -0.5
        score -= 0.5 * sum(s in images for s in its if s not in {signal.get(m) for m in mine})
        return score

    def extend(self, anchors: list[Pair], seeds: list[Pair], used: set[int], domain: set[int] | None) -> dict[int, int]:
        """Pairs of cells, from anchors and seeds on; cells of `used` are left out, and where there is a `domain`
        the first of every pair is in it, and the second is not."""
        cell: dict[int, int] = {}
        images: dict[int, int] = {}
        signal: dict[int, int] = {}
        sink: dict[int, int] = dict(anchors)
        heap: list[tuple[float, int, int]] = []

        def offer(a: int, b: int) -> None:
            if a in cell or b in cell or a in images or b in images or a in used or b in used:
                return
            if domain is not None and (a not in domain or b in domain):
                return
            if self._fit(a, b):
                score = self._score(a, b, signal, sink)
                if score > 0.5:
                    heapq.heappush(heap, (-score, a, b))

        def offer_drivers(a: int, b: int) -> None:
            for s in self.netlist.sinks[a].signals:
                for t in self.netlist.sinks[b].signals:
                    if s != t and s not in signal:
                        for c, d in zip(self.driver_cells[s], self.driver_cells[t], strict=False):
                            offer(c, d)

        def accept(a: int, b: int) -> None:
            cell[a], images[b] = b, a
            for i, s in self.driven[a].items():
                t = self.driven[b][i]
                if all(cell.get(c) in self.driver_cells[t] for c in self.driver_cells[s]):
                    signal[s] = t
            for x, y in self._sink_pairs(a, b, signal):
                sink[x] = y
            for x in self.sinks_of[a]:
                if x in sink:
                    offer_drivers(x, sink[x])
            for i, s in self.driven[a].items():
                t = self.driven[b][i]
                if s in signal:
                    for x in self.readers[s]:
                        for y in self.readers[t]:
                            offer(self.sink_cell[x], self.sink_cell[y])

        for a, b in seeds:
            if a not in used and b not in used and a not in images and self._fit(a, b) and not cell:
                accept(a, b)
        for a, b in anchors:
            offer_drivers(a, b)
        while heap:
            score, a, b = heapq.heappop(heap)
            if a in cell or b in cell or a in images or b in images:
                continue
            now = self._score(a, b, signal, sink)
            if now + 1e-9 < -score:
                if now > 0.5:
                    heapq.heappush(heap, (-now, a, b))
                continue
            accept(a, b)
        return cell

    def _sink_pairs(self, a: int, b: int, signal: dict[int, int]) -> list[Pair]:
        """Which sink of cell `a` corresponds to which of `b`: by place, exchangeable toggles by what they read."""
        cells, sinks = self.netlist.cells, self.netlist.sinks
        loose_a, loose_b = set(cells[a].exchangeable), set(cells[b].exchangeable)
        at = {self.place[sinks[k].tiles[0]]: k for k in self.sinks_of[b] if sinks[k].tiles[0] not in loose_b}
        pairs = []
        for k in self.sinks_of[a]:
            if sinks[k].tiles[0] not in loose_a and self.place[sinks[k].tiles[0]] in at:
                pairs.append((k, at[self.place[sinks[k].tiles[0]]]))
        mine = [k for k in self.sinks_of[a] if sinks[k].tiles[0] in loose_a]
        its = [k for k in self.sinks_of[b] if sinks[k].tiles[0] in loose_b]
        options = []
        for x in mine:
            for y in its:
                known = [signal[s] for s in sinks[x].signals if s in signal]
                both = sum(t in sinks[y].signals for t in known)
                like = sorted(self._look(s) for s in sinks[x].signals) == sorted(
                    self._look(t) for t in sinks[y].signals
                )
                size = -abs(len(sinks[x].signals) - len(sinks[y].signals))
                options.append((-(2 * both - len(known)) - like * 0.5 - size * 0.1, x, y))
        for _, x, y in sorted(options):
            if x in mine and y in its:
                mine.remove(x)
                its.remove(y)
                pairs.append((x, y))
        return pairs

    def _look(self, signal: int) -> tuple[int, ...]:
        return tuple(self.colour[c] for c in self.driver_cells[signal])

    def parts(self, cell: dict[int, int]) -> list[dict[int, int]]:
        """The map in parts that are joined by signals which correspond."""
        left = dict(cell)
        out = []
        while left:
            first = next(iter(left))
            part = {first: left.pop(first)}
            queue = [first]
            while queue:
                a = queue.pop()
                near = {self.sink_cell[k] for s in self.driven[a].values() for k in self.readers[s]}
                near |= {
                    d for k in self.sinks_of[a] for s in self.netlist.sinks[k].signals for d in self.driver_cells[s]
                }
                shown = {k for s in self.driven[a].values() for k in self.readers[s] if k in self.panel_sinks}
                near |= {d for k in shown for s in self.netlist.sinks[k].signals for d in self.driver_cells[s]}
                for c in sorted(near & left.keys()):
                    part[c] = left.pop(c)
                    queue.append(c)
            out.append(part)
        return out

    def common(self, block: MatchedBlock) -> dict[int, tuple[int, int]]:
        """For each cell of the first copy how many of its connections are common to all copies, and how many it has:
        those of its own signals and those of its sinks."""
        common = set(block.variables[0])
        counts: dict[int, tuple[int, int]] = {}
        for c in block.cells[0]:
            pairs = {(k, s) for s in self.driven[c].values() for k in self.readers[s]}
            pairs |= {(k, s) for k in self.sinks_of[c] for s in self.netlist.sinks[k].signals if self.is_local(s)}
            counts[c] = len(pairs & common), len(pairs)
        return counts

    def is_local(self, signal: int) -> bool:
        """Whether a signal is driven by stacks: clocks, resets and switches come from outside of any block."""
        return all(self.netlist.cells[c].kind in ("stack", "register") for c in self.driver_cells[signal])

    def block(
        self, domain: list[int], maps: list[dict[int, int]], anchors: list[list[Pair]], offsets: list[Pair | None]
    ) -> MatchedBlock:
        """What is common to all copies."""
        cells, sinks = self.netlist.cells, self.netlist.sinks
        rows = [tuple(domain), *(tuple(m[c] for c in domain) for m in maps)]
        signal_maps, sink_maps = [], []
        for m, pins in zip(maps, anchors, strict=True):
            signal: dict[int, int] = {}
            for a in domain:
                for i, s in self.driven[a].items():
                    t = self.driven[m[a]][i]
                    if [m.get(c) for c in self.driver_cells[s]] == self.driver_cells[t]:
                        signal[s] = t
            sink = dict(pins)
            for a in domain:
                sink.update(self._sink_pairs(a, m[a], signal))
            signal_maps.append(signal)
            sink_maps.append(sink)
        signals = sorted(s for s in signal_maps[0] if all(s in m for m in signal_maps))
        variables = []
        for s in signals:
            for k in self.readers[s]:
                if all(
                    k in sink and signal[s] in sinks[sink[k]].signals
                    for sink, signal in zip(sink_maps, signal_maps, strict=True)
                ):
                    variables.append((k, s))
        tied = any(k in self.panel_sinks for k, _ in variables)
        tiles: list[list[int]] = [[] for _ in rows]
        for column, a in enumerate(domain):
            tiles[0] += cells[a].tiles
            for copy, sink in enumerate(sink_maps, 1):
                b = rows[copy][column]
                image = dict(zip(cells[a].tiles, cells[b].tiles, strict=True))
                if cells[a].exchangeable:
                    free = list(cells[b].exchangeable)
                    for x in self.sinks_of[a]:
                        t = sinks[x].tiles[0]
                        if t in cells[a].exchangeable and x in sink:
                            image[t] = sinks[sink[x]].tiles[0]
                            free.remove(image[t])
                    known = {t for x in self.sinks_of[a] if x in sink for t in sinks[x].tiles}
                    for t in cells[a].exchangeable:
                        if t not in known:
                            image[t] = free.pop(0)
                tiles[copy] += [image[t] for t in cells[a].tiles]
        return MatchedBlock(
            tuple(rows),
            tuple(tuple(row) for row in tiles),
            (tuple(signals), *(tuple(m[s] for s in signals) for m in signal_maps)),
            (
                tuple(variables),
                *(
                    tuple((sink[k], signal[s]) for k, s in variables)
                    for sink, signal in zip(sink_maps, signal_maps, strict=True)
                ),
            ),
            tuple(d for d in offsets if d is not None) if tied else (),
        )
