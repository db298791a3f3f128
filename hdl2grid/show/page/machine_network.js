// The machine as the engine sees it: drivers, elements, and which driver hits which element.
//
// Drivers are numbered: sources, stacks, out tiles of delays. Elements: those with a bit (toggles, pixels,
// probes, sources), then strobes (one number a stack), then in tiles of delays. hdl2grid/sim/pulse_network.py says
// the same of a plan; tests/test_page_engine.py holds the two together.

import { extract, SOURCES, wireTiles } from "./tiles.js";

/** A plan as a board: {width, height, colours, devices, tiles, signals}. */
export function boardOf(plan) {
  const [width, height] = plan.size;
  const wires = plan.colours.map((colour) => plan.wires[colour]);
  return {
    width,
    height,
    colours: plan.colours,
    devices: plan.devices,
    tiles: wireTiles(wires, width),
    signals: plan.signals ?? {},
  };
}

/** The bit that a device bears, as a number: a toggle's, a pixel's, a ticker's (running), a switch's (on). */
export function bitOf(device) {
  return Number(device.bit ?? device.lit ?? device.running ?? device.on ?? false);
}

/** The network of a board and its extraction; `probes` are the board's signals that stand on one net. */
export function networkOf(board, found = extract(board)) {
  const { devices } = board;
  const indices = (test) => devices.flatMap((d, i) => (test(d.kind) ? [i] : []));
  const sources = indices((kind) => SOURCES.has(kind));
  const pixels = indices((kind) => kind === "pixel");
  const delays = indices((kind) => kind === "delay");
  const drivers = [...sources, ...found.stacks.map((stack) => stack.gate), ...delays];
  const number = new Map(drivers.map((device, i) => [device, i]));
  const hitting = (device) =>
    found.deviceNets[device].flatMap((net) =>
      found.nets[net].drivers.filter((d) => d !== device).map((d) => number.get(d)),
    );
  const probes = probesOf(board, found);
  const toggles = found.stacks.flatMap((stack) => stack.toggles);
  const flipped = [
    ...toggles.map(hitting),
    ...pixels.map(hitting),
    ...probes.map((probe) => found.nets[probe.net].drivers.map((d) => number.get(d))),
    ...sources.map((s) => hitsOnSource(devices[s].kind, number.get(s), () => hitting(s))),
  ];
  const strobes = found.stacks.map((stack) => (stack.strobe < 0 ? [] : hitting(stack.strobe)));
  const started = delays.map((delay) =>
    found.deviceNets[delay].flatMap((net) => found.nets[net].drivers.map((d) => number.get(d))),
  );
  return {
    drivers,
    sources: sources.map((s) => devices[s]),
    stacks: found.stacks.map((stack) => ({
      name: devices[stack.gate].name,
      function: devices[stack.gate].function,
      size: stack.toggles.length,
      strobed: stack.strobe >= 0,
    })),
    delays: delays.map((delay) => devices[delay].seconds),
    probes,
    owner: Int32Array.from(found.stacks.flatMap((stack, i) => stack.toggles.map(() => i))),
    elements: [...toggles, ...pixels, ...probes.map(() => -1), ...sources],
    initial: Uint8Array.from([
      ...toggles.map((i) => bitOf(devices[i])),
      ...pixels.map((i) => bitOf(devices[i])),
      ...probes.map((probe) => probe.initial),
      ...sources.map((i) => bitOf(devices[i])),
    ]),
    firstPixel: toggles.length,
    firstProbe: toggles.length + pixels.length,
    firstSource: toggles.length + pixels.length + probes.length,
    firstStrobe: flipped.length,
    firstDelay: flipped.length + strobes.length,
    hits: hitsOf(drivers.length, flipped, strobes, started),
  };
}

function hitsOnSource(kind, driver, hitting) {
  if (kind === "switch") return [driver];
  return kind === "ticker" ? hitting() : [];
}

/** The signals whose tile bears exactly one net of their colour: {signal, initial, net}. */
function probesOf(board, found) {
  return Object.entries(board.signals).flatMap(([signal, tap]) => {
    const colour = board.colours.indexOf(tap.colour);
    const nets = found.netsAt(tap.x, tap.y).filter((place) => place.colour === colour);
    return nets.length === 1 ? [{ signal, initial: tap.initial, net: nets[0].net }] : [];
  });
}

/** For each driver its elements: an odd number of hits counts once, an even one not; a strobe is marked
 * once; a delay is started as often as it is hit. */
function hitsOf(numDrivers, flipped, strobes, started) {
  const hits = Array.from({ length: numDrivers }, () => []);
  flipped.forEach((drivers, element) => {
    for (const driver of new Set(drivers)) {
      if (drivers.filter((d) => d === driver).length % 2) hits[driver].push(element);
    }
  });
  strobes.forEach((drivers, stack) => {
    for (const driver of new Set(drivers)) hits[driver].push(flipped.length + stack);
  });
  started.forEach((drivers, delay) => {
    for (const driver of drivers) hits[driver].push(flipped.length + strobes.length + delay);
  });
  return hits.map((elements) => Int32Array.from(elements));
}
