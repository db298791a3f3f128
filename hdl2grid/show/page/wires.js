// The wires of a net as SVG paths: straight runs in the lane of their colour, joints as discs, gaps where a
// run passes below another in a crossover. The measures are those of hdl2grid/show/look.py.

/** Units of the drawing to a tile. */
export const TILE = 24;

/** Half a device's box, and so half the width of all lanes, in tiles: DEVICE_HALF in look.py. */
const HALF = 0.36;

/** Width of a wire in units: WIRE_WIDTH in look.py. */
export const WIRE = 0.09 * TILE;

/** Where wire of a colour crosses tile `index` along an axis. */
export function lane(index, colour, numColours) {
  return (index + 0.5 + 2 * HALF * ((colour + 0.5) / numColours - 0.5)) * TILE;
}

function fixed(value) {
  return Number(value.toFixed(2));
}

function disc(x, y, radius) {
  const r = fixed(radius);
  return `M${fixed(x - radius)} ${fixed(y)}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
}

/**
 * The paths {core, joints} of one net. `passing(x, y)` gives the colours that pass a crossover north to south,
 * `hasBox(x, y)` whether a device's box stands on a tile.
 */
export function netPaths(net, numColours, passing, hasBox) {
  const joins = joinsOf(net.places);
  const core = [];
  const joints = [];
  for (const run of runsOf(net.places, joins)) core.push(runPath(run, net.colour, numColours, passing));
  for (const place of net.places) {
    if (place.half) continue;
    const { x, y } = place;
    const way = joins(x, y);
    const joined = way.west + way.east + way.north + way.south;
    if (joined === 2 && way.west === way.east) continue;
    const at = [lane(x, net.colour, numColours), lane(y, net.colour, numColours)];
    if (joined >= 3) joints.push(disc(...at, WIRE * 1.05));
    else if (joined === 0 && hasBox(x, y)) joints.push(disc(at[0], (y + 0.5 + HALF) * TILE, WIRE * 0.8));
    else joints.push(disc(...at, WIRE * (joined === 2 ? 0.5 : 0.8)));
  }
  return { core: core.join(""), joints: joints.join("") };
}

/** The path of one stroke by itself. */
export function strokePath([x0, y0, x1, y1], colour, numColours) {
  const at = (index) => fixed(lane(index, colour, numColours));
  return `M${at(x0)} ${at(y0)}L${at(x1)} ${at(y1)}`;
}

function joinsOf(places) {
  const halves = new Map();
  for (const { x, y, half } of places) {
    const key = `${x},${y}`;
    halves.set(key, (halves.get(key) ?? "") + (half || "we ns"));
  }
  const has = (x, y, half) => Number(halves.get(`${x},${y}`)?.includes(half) ?? false);
  return (x, y) => ({
    west: has(x - 1, y, "we") & has(x, y, "we"),
    east: has(x + 1, y, "we") & has(x, y, "we"),
    north: has(x, y - 1, "ns") & has(x, y, "ns"),
    south: has(x, y + 1, "ns") & has(x, y, "ns"),
  });
}

function runsOf(places, joins) {
  const runs = [];
  for (const { x, y, half } of places) {
    const way = joins(x, y);
    if (half !== "ns" && !way.west && way.east) {
      let end = x;
      while (joins(end, y).east) end += 1;
      runs.push([x, y, end, y]);
    }
    if (half !== "we" && !way.north && way.south) {
      let end = y;
      while (joins(x, end).south) end += 1;
      runs.push([x, y, x, end]);
    }
  }
  return runs;
}

function runPath([x0, y0, x1, y1], colour, numColours, passing) {
  const at = (index, c = colour) => fixed(lane(index, c, numColours));
  if (x0 === x1) return `M${at(x0)} ${at(y0)}V${at(y1)}`;
  const gap = WIRE * 1.1;
  let path = `M${at(x0)} ${at(y0)}`;
  for (let x = x0 + 1; x < x1; x++) {
    for (const other of passing(x, y0)) {
      path += `H${fixed(at(x, other) - gap)}M${fixed(at(x, other) + gap)} ${at(y0)}`;
    }
  }
  return `${path}H${at(x1)}`;
}
