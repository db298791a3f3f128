// A machine that is being laid: the actions of guide.json on tiles, and what they make happen.

import { Engine } from "./engine.js";
import { networkOf } from "./machine_network.js";
import { extract, strokeTiles } from "./tiles.js";

/** Most waves that delays may start after one event, as MAX_DELAYED in guide/world.py. */
const MAX_DELAYS = 10000;

/** The tiles of a machine from bare ground on. `laying` says what fresh devices are like. */
export class Site {
  constructor(plan, laying) {
    [this.width, this.height] = plan.size;
    this.colours = plan.colours;
    this.laying = laying;
    this.devices = [];
    this.tiles = plan.colours.map(() => new Set());
    this.backdrop = [];
    this.signals = {};
    this.lost = 0;
    this.found = null;
  }

  /** A copy that changes on its own. */
  copy() {
    const twin = Object.create(Site.prototype);
    Object.assign(twin, this);
    twin.devices = this.devices.map((device) => ({ ...device }));
    twin.tiles = this.tiles.map((tiles) => new Set(tiles));
    twin.backdrop = [...this.backdrop];
    return twin;
  }

  /** What is connected to what just now. */
  extraction() {
    this.found ??= extract(this);
    return this.found;
  }

  deviceAt(x, y) {
    return this.devices.find((device) => device.x === x && device.y === y);
  }

  /** Does one action of a guide. */
  apply(action) {
    const times = action.times ?? 1;
    switch (action.do) {
      case "place":
        return this.place(action);
      case "remove":
        this.devices = this.devices.filter((device) => device.x !== action.x || device.y !== action.y);
        this.found = null;
        return undefined;
      case "backdrop":
        this.backdrop.push(action.area);
        return undefined;
      case "wire":
      case "unwire":
        return this.wire(action);
      case "press":
        for (let i = 0; i < times; i++) this.press(action.x, action.y);
        return undefined;
      case "tick":
        for (let i = 0; i < times; i++) this.tick(action.x, action.y);
        return undefined;
      default:
        throw new Error(`a guide has no action '${action.do}'`);
    }
  }

  wire({ do: verb, colour, stroke }) {
    const tiles = this.tiles[this.colours.indexOf(colour)];
    for (const [x, y] of strokeTiles(stroke)) {
      if (verb === "wire") tiles.add(y * this.width + x);
      else tiles.delete(y * this.width + x);
    }
    this.found = null;
  }

  place(action) {
    const { do: _, ...device } = action;
    if (device.kind === "pixel") device.lit = this.laying.pixelLit;
    if (device.kind === "ticker") device.running = this.laying.tickerRunning;
    if (device.kind === "gate") device.output = this.laying.gateOutput;
    this.devices = this.devices.filter(({ x, y }) => x !== device.x || y !== device.y);
    this.devices.push(device);
    this.found = null;
    if (device.kind === "toggle") this.examine(device);
  }

  /** A toggle that was just placed: its stack's gate emits when its function has changed. */
  examine(toggle) {
    const { engine, network } = this.engine();
    const index = this.devices.indexOf(toggle);
    const stack = network.owner[network.elements.indexOf(index)];
    if (stack === undefined || network.stacks[stack].strobed) return;
    const output = engine.output(stack);
    if (output === engine.remembered[stack]) return;
    engine.remembered[stack] = output;
    this.fire(engine, network.sources.length + stack);
  }

  press(x, y) {
    const device = this.deviceAt(x, y);
    if (!device) return;
    if (device.kind === "ticker") device.running = !device.running;
    else this.fireAt(device);
  }

  tick(x, y) {
    const device = this.deviceAt(x, y);
    if (!device) return;
    const before = device.running;
    device.running = true;
    this.fireAt(device);
    if (!before) device.running = false;
  }

  fireAt(device) {
    const { engine, network } = this.engine();
    const driver = network.sources.indexOf(device);
    if (driver >= 0) this.fire(engine, driver);
  }

  engine() {
    const network = networkOf(this, this.extraction());
    const outputs = network.stacks.map((_, i) => this.gateOf(network, i).output);
    return { network, engine: new Engine(network, 0n, outputs) };
  }

  gateOf(network, stack) {
    return this.devices[network.drivers[network.sources.length + stack]];
  }

  /** One wave, then those of the delays that it starts; the devices bear the new state. */
  fire(engine, driver) {
    const { network } = engine;
    const first = network.sources.length + network.stacks.length;
    const waiting = [driver];
    for (let i = 0; i < waiting.length && i < MAX_DELAYS; i++) {
      const wave = engine.fire(waiting[i]);
      this.lost += wave.lost.length;
      waiting.push(...wave.delays.map((delay) => first + delay));
    }
    network.elements.forEach((index, element) => {
      if (index >= 0) setBit(this.devices[index], engine.bits[element]);
    });
    network.stacks.forEach((_, stack) => (this.gateOf(network, stack).output = engine.remembered[stack]));
  }

  /** Whether an expectation holds; what only a person can read holds always. */
  holds(expectation) {
    const device = this.deviceAt(expectation.x, expectation.y);
    if (expectation.see === "pixel") return device?.kind === "pixel" && Boolean(device.lit) === expectation.lit;
    if (expectation.see === "toggle") return device?.kind === "toggle" && device.bit === expectation.bit;
    return true;
  }
}

function setBit(device, bit) {
  if (device.kind === "toggle") device.bit = bit;
  else if (device.kind === "pixel") device.lit = Boolean(bit);
  else if (device.kind === "ticker") device.running = Boolean(bit);
  else if (device.kind === "switch") device.on = Boolean(bit);
}

/** The site before any step of a guide and after each, worked out when asked for and kept every 16 steps. */
export class Progress {
  constructor(plan, laying, steps) {
    this.steps = steps;
    this.kept = new Map([[0, new Site(plan, laying)]]);
  }

  /** The site when the first `count` steps are done; not to be changed. */
  after(count) {
    let at = count;
    while (!this.kept.has(at)) at -= 1;
    if (at === count) return this.kept.get(at);
    const site = this.kept.get(at).copy();
    for (; at < count; at++) {
      for (const action of this.steps[at].actions) site.apply(action);
      if ((at + 1) % 16 === 0) this.kept.set(at + 1, site.copy());
    }
    return site;
  }
}
