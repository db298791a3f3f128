"""From a routed board to a plan: devices on their tiles, strokes of wire, crossovers, where signals can be read."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from hdl2grid.circuit.model import Circuit
from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, COLOURS, Board
from hdl2grid.nets.model import Netlist
from hdl2grid.panel.model import PanelLayout
from hdl2grid.plan.model import Device, Plan, Rect, SignalTap, Stroke
from hdl2grid.plan.strokes import strokes_of

Tile = tuple[int, int]


def assemble(
    circuit: Circuit,
    netlist: Netlist,
    board: Board,
    panel: PanelLayout | None,
    target: str,
    colours: tuple[str, ...],
    keep_origin: bool = False,
) -> Plan:
    """The plan of a legal board, trimmed to the tiles in use; not at its left and top where the site names tiles, or
    with `keep_origin`."""
    width = int(board.size[0])
    places = [
        (int(board.x[t.cell] + board.dx[i]), int(board.y[t.cell] + board.dy[i])) for i, t in enumerate(netlist.tiles)
    ]
    routes: dict[int, list[tuple[Tile, int]]] = {}
    for net in range(len(board.length)):
        size = int(board.length[net])
        if size:
            tiles = sorted(
                (int(t) // width, int(t) % width, int(w))
                for t, w in zip(board.route[net, :size], board.ways[net, :size], strict=True)
            )
            routes[net] = [((x, y), way) for y, x, way in tiles]
    crossed = _crossovers(routes)
    backdrop = _backdrop(netlist, board, panel)
    x0, y0, x1, y1 = _extent(places, routes, backdrop)
    if keep_origin or netlist.site.is_absolute:
        x0, y0 = 0, 0
    devices = [replace(t.device, x=x - x0, y=y - y0) for t, (x, y) in zip(netlist.tiles, places, strict=True)]
    devices += [Device("crossover", x - x0, y - y0, form="straight") for x, y in crossed]
    wires: list[list[Stroke]] = [[] for _ in range(COLOURS)]
    for net, tiles_of_net in routes.items():
        ways = {(x - x0, y - y0): _axis((x, y), way, crossed) for (x, y), way in tiles_of_net}
        wires[net % COLOURS].extend(strokes_of(ways))
    return Plan(
        name=circuit.name,
        target=target,
        colours=colours,
        width=x1 - x0 + 1,
        height=y1 - y0 + 1,
        devices=tuple(sorted(devices, key=lambda d: (d.y, d.x))),
        wires=tuple(tuple(sorted(set(w), key=lambda s: (s[1], s[0], s[3], s[2]))) for w in wires),
        backdrop=tuple((a - x0, b - y0, c - x0, d - y0) for a, b, c, d in backdrop),
        signals=_taps(circuit, netlist, board, places, colours, x0, y0),
    )


def _axis(tile: Tile, way: int, crossed: dict[Tile, None]) -> bool | None:
    return None if tile not in crossed else way == ALONG_X


def _crossovers(routes: dict[int, list[tuple[Tile, int]]]) -> dict[Tile, None]:
    """Tiles where two nets of one colour cross, in reading order."""
    ways: dict[tuple[int, int, int], set[int]] = defaultdict(set)
    for net, tiles in routes.items():
        for (x, y), way in tiles:
            if way in (ALONG_X, ALONG_Y):
                ways[y, x, net % COLOURS].add(way)
    return {(x, y): None for y, x in sorted({(y, x) for (y, x, _), both in ways.items() if len(both) == 2})}


def _backdrop(netlist: Netlist, board: Board, panel: PanelLayout | None) -> list[Rect]:
    if panel is None:
        return []
    for number, cell in enumerate(netlist.cells):
        if cell.kind == "panel":
            px, py = int(board.x[number]) + netlist.site.panel_at[0], int(board.y[number]) + netlist.site.panel_at[1]
            return [(px + a, py + b, px + c, py + d) for a, b, c, d in panel.backdrop]
    return []


def _extent(places: list[Tile], routes: dict[int, list[tuple[Tile, int]]], backdrop: list[Rect]) -> Rect:
    xs = [x for x, _ in places] + [x for tiles in routes.values() for (x, _), _ in tiles]
    ys = [y for _, y in places] + [y for tiles in routes.values() for (_, y), _ in tiles]
    xs += [v for a, _, c, _ in backdrop for v in (a, c)]
    ys += [v for _, b, _, d in backdrop for v in (b, d)]
    return min(xs), min(ys), max(xs), max(ys)


def _taps(
    circuit: Circuit,
    netlist: Netlist,
    board: Board,
    places: list[Tile],
    colours: tuple[str, ...],
    x0: int,
    y0: int,
) -> tuple[SignalTap, ...]:
    """A tap for each HDL bit whose drivers are exactly those of one net: the tile of the net's first driver."""
    number = {signal.drivers: s for s, signal in enumerate(netlist.signals)}
    taps = []
    for level in circuit.levels:
        s = number.get(tuple(sorted(level.drivers)))
        if s is None:
            continue
        colour = next((c for c in range(COLOURS) if board.usage[s, c] > 0), None)
        if colour is not None:
            x, y = places[netlist.signals[s].tiles[0]]
            taps.append(SignalTap(level.signal, colours[colour], x - x0, y - y0, level.initial))
    return tuple(taps)
