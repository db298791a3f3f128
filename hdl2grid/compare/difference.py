"""What differs between two plans, tile by tile."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from hdl2grid.base.errors import InputError
from hdl2grid.compare.model import Difference
from hdl2grid.guide.model import Tile
from hdl2grid.guide.world import tiles_of
from hdl2grid.plan.cover import fewest_strokes
from hdl2grid.plan.model import Device, Plan, Stroke


def difference(old: Plan, new: Plan) -> Difference:
    """The devices and wire tiles that differ. Raises InputError D001 when the plans have other wire colours."""
    if set(old.colours) != set(new.colours):
        what = f"the wire colours are {', '.join(old.colours)} and {', '.join(new.colours)}"
        raise InputError("D001", what, hint="Plan the new one with --colours as the old one has them.")
    before = {(d.x, d.y): d for d in old.devices}
    after = {(d.x, d.y): d for d in new.devices}
    removed, added, changed, renamed = [], [], [], []
    for tile in sorted(before.keys() | after.keys(), key=lambda t: (t[1], t[0])):
        was, becomes = before.get(tile), after.get(tile)
        if was is None and becomes is not None:
            added.append(becomes)
        elif was is not None and becomes is None:
            removed.append(was)
        elif was is not None and becomes is not None and was != becomes:
            if nameless(was) == nameless(becomes):
                renamed.append((was, becomes))
            elif was.kind == becomes.kind:
                changed.append((was, becomes))
            else:
                removed.append(was)
                added.append(becomes)
    unwired, wired, touched = _wires(old, new)
    touched |= {(d.x, d.y) for d in (*removed, *added, *(new for _, new in changed))}
    return Difference(
        removed=tuple(removed),
        added=tuple(added),
        changed=tuple(changed),
        renamed=tuple(renamed),
        unwired=tuple(unwired),
        wired=tuple(wired),
        backdrop_removed=tuple(r for r in old.backdrop if r not in new.backdrop),
        backdrop_added=tuple(r for r in new.backdrop if r not in old.backdrop),
        touched=frozenset(touched),
    )


def with_bare_gates(found: Difference, old: Plan, new: Plan) -> Difference:
    """The same difference, but wire on the gates of stacks whose toggles are added or changed is taken up, and laid
    again. So pulses of such a stack go nowhere while it grows."""
    kinds = {(d.x, d.y): d.kind for d in new.devices}
    bare: set[Tile] = set()
    for device in (*found.added, *(becomes for _, becomes in found.changed)):
        x, y = device.x, device.y
        while kinds.get((x, y)) in ("toggle", "strobe"):
            y += 1
        if kinds.get((x, y)) == "gate":
            bare.add((x, y))
    before, after = wire_tiles(old), wire_tiles(new)
    unwired: list[tuple[str, Stroke]] = []
    wired: list[tuple[str, Stroke]] = []
    for colour in new.colours:
        again = bare & before[colour] & after[colour]
        gone, fresh = before[colour] - after[colour] | again, after[colour] - before[colour] | again
        unwired += [(colour, s) for s in fewest_strokes(dict.fromkeys(sorted(gone)))]
        wired += [(colour, s) for s in fewest_strokes(dict.fromkeys(sorted(fresh)), after[colour])]
    return replace(found, unwired=tuple(unwired), wired=tuple(wired))


def nameless(device: Device) -> Device:
    """A device without the names that only people read."""
    return replace(device, name=None, signal=None)


def wire_tiles(plan: Plan) -> dict[str, set[Tile]]:
    """The wired tiles of each colour, by its name."""
    return {
        colour: {tile for stroke in strokes for tile in tiles_of(stroke)}
        for colour, strokes in zip(plan.colours, plan.wires, strict=True)
    }


def _wires(old: Plan, new: Plan) -> tuple[list[tuple[str, Stroke]], list[tuple[str, Stroke]], set[Tile]]:
    """The fewest strokes that take up what is too much and lay what is missing. New strokes may run over wire of
    their colour that lies there and stays."""
    before, after = wire_tiles(old), wire_tiles(new)
    unwired: list[tuple[str, Stroke]] = []
    wired: list[tuple[str, Stroke]] = []
    touched: set[Tile] = set()
    for colour in new.colours:
        gone, fresh = before[colour] - after[colour], after[colour] - before[colour]
        unwired += [(colour, s) for s in fewest_strokes(dict.fromkeys(gone))]
        wired += [(colour, s) for s in fewest_strokes(dict.fromkeys(fresh), after[colour])]
        touched |= gone | fresh
    return unwired, wired, touched


def tiles_in_use(plan: Plan) -> set[Tile]:
    """All tiles that bear a device or wire."""
    used = {(d.x, d.y) for d in plan.devices} | {d.to for d in plan.devices if d.to is not None}
    return used.union(*wire_tiles(plan).values())


def moved(plan: Plan, dx: int, dy: int) -> Plan:
    """The plan with everything `dx` to the right and `dy` down; what would leave the grid makes it larger.

    Raises InputError D002 when something would stand left of or above the grid.
    """

    def at(x: int, y: int) -> Tile:
        if x + dx < 0 or y + dy < 0:
            raise InputError("D002", f"moved by ({dx},{dy}), something stands at ({x + dx},{y + dy})")
        return x + dx, y + dy

    return replace(
        plan,
        width=plan.width + dx,
        height=plan.height + dy,
        devices=tuple(
            replace(d, x=at(d.x, d.y)[0], y=at(d.x, d.y)[1], to=at(*d.to) if d.to else None) for d in plan.devices
        ),
        wires=tuple(tuple((*at(a, b), *at(c, d)) for a, b, c, d in strokes) for strokes in plan.wires),
        backdrop=tuple((*at(a, b), *at(c, d)) for a, b, c, d in plan.backdrop),
        signals=tuple(replace(t, x=at(t.x, t.y)[0], y=at(t.x, t.y)[1]) for t in plan.signals),
    )


def likely_shift(old: Plan, new: Plan) -> Tile:
    """How far most devices of the same name stand from where they stood: (dx, dy)."""
    before = {d.name: (d.x, d.y) for d in old.devices if d.name}
    votes: Counter[Tile] = Counter()
    for device in new.devices:
        if device.name in before:
            x, y = before[device.name]
            votes[device.x - x, device.y - y] += 1
    return min(votes, key=lambda shift: (-votes[shift], shift != (0, 0), shift), default=(0, 0))
