// Tiles, strokes and extraction: what is connected to what, read from tiles alone (docs/grid-model.md).

export const SOURCES = new Set(["ticker", "button", "switch"]);

/** Every tile [x, y] of a stroke, from its first end to its last. */
export function strokeTiles([x0, y0, x1, y1]) {
  const dx = Math.sign(x1 - x0);
  const dy = Math.sign(y1 - y0);
  const length = Math.abs(x1 - x0) + Math.abs(y1 - y0) + 1;
  return Array.from({ length }, (_, i) => [x0 + i * dx, y0 + i * dy]);
}

/** For each colour the set of tile numbers (y * width + x) that its strokes cover. */
export function wireTiles(wires, width) {
  return wires.map((strokes) => {
    const tiles = new Set();
    for (const stroke of strokes) for (const [x, y] of strokeTiles(stroke)) tiles.add(y * width + x);
    return tiles;
  });
}

/** A gate and what stands on it, as indices of `devices`: {gate, toggles (lowest first), strobe or -1}. */
export function stacksOf(devices, width) {
  const standing = new Map();
  devices.forEach((device, i) => {
    if (device.kind === "toggle" || device.kind === "strobe") standing.set(device.y * width + device.x, i);
  });
  const stacks = [];
  devices.forEach((device, gate) => {
    if (device.kind !== "gate") return;
    const toggles = [];
    let y = device.y - 1;
    let above = standing.get(y * width + device.x);
    while (above !== undefined && devices[above].kind === "toggle") {
      toggles.push(above);
      y -= 1;
      above = standing.get(y * width + device.x);
    }
    const strobe = toggles.length && above !== undefined ? above : -1;
    stacks.push({ gate, toggles, strobe });
  });
  return stacks;
}

/**
 * All nets of a board {width, height, devices, tiles: one Set of tile numbers a colour}.
 *
 * Returns {nets, stacks, deviceNets, outNets, netsAt}. A net is {colour, places: [{x, y, half}], drivers,
 * sinks}; `half` is "" or, on a crossover, "we" or "ns". `netsAt(x, y)` lists {colour, half, net}. Nets are in
 * order of colour and then of their first tile, row by row.
 */
export function extract(board) {
  const { width, devices } = board;
  const crossovers = new Set();
  for (const d of devices) if (d.kind === "crossover") crossovers.add(d.y * width + d.x);
  const sites = deviceSites(devices, width);
  const nets = [];
  const places = new Map();
  board.tiles.forEach((tiles, colour) => {
    for (const group of connectedPlaces(tiles, crossovers, width)) {
      const net = nets.length;
      const drivers = new Set();
      const sinks = new Set();
      for (const { x, y, half } of group) {
        const tile = y * width + x;
        if (!places.has(tile)) places.set(tile, []);
        places.get(tile).push({ colour, half, net });
        for (const { device, out } of sites.get(tile) ?? []) {
          const kind = devices[device].kind;
          (out || kind === "gate" || SOURCES.has(kind) ? drivers : sinks).add(device);
        }
      }
      if (drivers.size > 1) for (const d of drivers) if (devices[d].kind === "ticker") sinks.add(d);
      nets.push({ colour, places: group, drivers: ascending(drivers), sinks: ascending(sinks) });
    }
  });
  const netsAt = (x, y) => places.get(y * width + x) ?? [];
  const on = (x, y) => netsAt(x, y).map((place) => place.net);
  return {
    nets,
    stacks: stacksOf(devices, width),
    deviceNets: devices.map((d) => (d.kind === "crossover" ? [] : on(d.x, d.y))),
    outNets: new Map(devices.flatMap((d, i) => (d.to ? [[i, on(...d.to)]] : []))),
    netsAt,
  };
}

function ascending(numbers) {
  return [...numbers].sort((a, b) => a - b);
}

/** The devices that wire on a tile touches; of a delay both tiles. */
function deviceSites(devices, width) {
  const sites = new Map();
  const add = (tile, site) => (sites.has(tile) ? sites.get(tile).push(site) : sites.set(tile, [site]));
  devices.forEach((d, device) => {
    if (d.kind !== "crossover") add(d.y * width + d.x, { device, out: false });
    if (d.to) add(d.to[1] * width + d.to[0], { device, out: true });
  });
  return sites;
}

/** The connected sets of places of one colour; halves of crossovers that nothing points to are no places. */
function connectedPlaces(tiles, crossovers, width) {
  const keys = [];
  for (const tile of ascending(tiles)) {
    keys.push(tile * 2);
    if (crossovers.has(tile)) keys.push(tile * 2 + 1);
  }
  const known = new Set(keys);
  const seen = new Set();
  const groups = [];
  for (const start of keys) {
    if (seen.has(start)) continue;
    seen.add(start);
    const members = [start];
    for (let i = 0; i < members.length; i++) {
      for (const next of neighbours(members[i], known, crossovers, width)) {
        if (seen.has(next)) continue;
        seen.add(next);
        members.push(next);
      }
    }
    if (members.length === 1 && crossovers.has(start >> 1)) continue;
    groups.push(ascending(members).map((key) => placeOf(key, crossovers, width)));
  }
  return groups;
}

function placeOf(key, crossovers, width) {
  const tile = key >> 1;
  const half = crossovers.has(tile) ? (key & 1 ? "ns" : "we") : "";
  return { x: tile % width, y: Math.floor(tile / width), half };
}

/** Keys of places joined to `key`: tile * 2, plus 1 for the north-south half of a crossover. */
function neighbours(key, known, crossovers, width) {
  const tile = key >> 1;
  const crossing = crossovers.has(tile);
  const found = [];
  if (!crossing || !(key & 1)) {
    if (tile % width > 0) found.push((tile - 1) * 2);
    if (tile % width < width - 1) found.push((tile + 1) * 2);
  }
  if (!crossing || key & 1) {
    for (const next of [tile - width, tile + width]) found.push(next * 2 + (crossovers.has(next) ? 1 : 0));
  }
  return found.filter((next) => known.has(next));
}
