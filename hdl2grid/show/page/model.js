// The page's state and what changes it: the mode, what is chosen, where the cursor is, which wires are shown.
// No DOM: app.js draws it. tests/test_page_engine.py runs it under node.

import { Naming } from "./naming.js";
import { boardOf, networkOf } from "./machine_network.js";
import { extract } from "./tiles.js";
import { lane, TILE } from "./wires.js";

export const MODES = ["look", "play", "lay"];

/** How far from a wire the pointer may be and still mean it, where a device stands too; in tiles, guessed. */
const WIRE_REACH = 0.11;

/** How far the pointer may be from the middle of a device and still mean it; in tiles, half a box in look.py. */
const BOX_REACH = 0.37;

/**
 * `data` is what page.py writes into the page. A target is what a person points at or chooses: {net}, {x, y},
 * or null for nothing.
 */
export class PageModel {
  constructor(data) {
    Object.assign(this, data);
    this.board = { ...boardOf(this.plan), backdrop: this.plan.backdrop ?? [] };
    this.found = extract(this.board);
    this.network = networkOf(this.board, this.found);
    this.naming = new Naming(this.board, this.found, this.origin);
    this.mode = "look";
    this.chosen = null;
    this.hovered = null;
    this.cursor = null;
    this.shown = this.plan.colours.map(() => true);
    this.showPlan();
  }

  /** Draws the plan's own board. */
  showPlan() {
    this.scene = { board: this.board, found: this.found, naming: this.naming };
  }

  /** Draws another board: that of a machine that is being laid. */
  showScene(board, found) {
    this.scene = { board, found, naming: new Naming(board, found, this.origin) };
  }

  /** Laying chooses nothing: what was chosen may not stand yet. */
  setMode(mode) {
    this.mode = mode;
    if (mode === "lay") this.chosen = null;
  }

  /** The mode `step` tabs after another, around the end. */
  modeAfter(mode, step) {
    return MODES[(MODES.indexOf(mode) + step + MODES.length) % MODES.length];
  }

  isInside(x, y) {
    const { width, height } = this.scene.board;
    return x >= 0 && y >= 0 && x < width && y < height;
  }

  /** Moves the cursor to a tile, or to the nearest one on the board. */
  moveCursor(x, y) {
    const { width, height } = this.scene.board;
    this.cursor = { x: Math.min(width - 1, Math.max(0, x)), y: Math.min(height - 1, Math.max(0, y)) };
  }

  /** What is at a point of a tile: a net, a tile, or null outside of the board. */
  targetAt(x, y, fx, fy) {
    if (!this.isInside(x, y)) return null;
    const net = this.netNear(x, y, fx, fy);
    return net >= 0 ? { net } : { x, y };
  }

  /** The net whose wire is nearest to a point in a tile, if one is near enough or nothing else is there; else -1. */
  netNear(x, y, fx, fy) {
    const { found, naming, board } = this.scene;
    const here = found.netsAt(x, y).filter((place) => this.shown[place.colour]);
    if (!here.length) return -1;
    const joined = (net, dx, dy) => found.netsAt(x + dx, y + dy).some((place) => place.net === net);
    let [best, distance] = [-1, Infinity];
    for (const { net, colour, half } of here) {
      const at = lane(0, colour, board.colours.length) / TILE;
      const across = half !== "ns" && (joined(net, -1, 0) || joined(net, 1, 0)) ? Math.abs(fy - at) : Infinity;
      const down = half !== "we" && (joined(net, 0, -1) || joined(net, 0, 1)) ? Math.abs(fx - at) : Infinity;
      const near = Math.min(across, down, 0.5);
      if (near < distance) [best, distance] = [net, near];
    }
    const device = naming.deviceAt(x, y);
    const isBox = device >= 0 && board.devices[device].kind !== "crossover";
    const onBox = isBox && Math.max(Math.abs(fx - 0.5), Math.abs(fy - 0.5)) < BOX_REACH;
    return onBox || (device >= 0 && distance > WIRE_REACH) ? -1 : best;
  }

  /** Keeps what the pointer is over; false if it was over it before. */
  hover(target) {
    const key = target && (target.net !== undefined ? `net ${target.net}` : `tile ${target.x},${target.y}`);
    if (key === this.hovered) return false;
    this.hovered = key;
    return true;
  }

  /** Whether a target is a net, or a tile with a device. */
  isThing({ net, x, y }) {
    return net !== undefined || this.scene.naming.deviceAt(x, y) >= 0;
  }

  /** The nets and devices, by number, that stand out for a target. */
  marksOf(target) {
    if (!target) return { nets: [], devices: [] };
    const { found, naming } = this.scene;
    const { net, x, y } = target;
    if (net !== undefined) return { nets: [net], devices: [...found.nets[net].drivers, ...found.nets[net].sinks] };
    const device = naming.deviceAt(x, y);
    const stack = naming.stackOfDevice.get(device);
    const alone = device >= 0 ? [device] : [];
    return { nets: this.netsOn(x, y), devices: stack !== undefined ? naming.stackDevices(stack) : alone };
  }

  /** The nets on a tile, each once. */
  netsOn(x, y) {
    return [...new Set(this.scene.found.netsAt(x, y).map((place) => place.net))];
  }

  /** The net after the chosen one on the cursor's tile, around the end; -1 where there is no wire. */
  nextNet() {
    const here = this.netsOn(this.cursor.x, this.cursor.y);
    return here.length ? here[(here.indexOf(this.chosen?.net) + 1) % here.length] : -1;
  }

  /** The source on a tile of the plan, by number; -1 where there is none. */
  sourceAt(x, y) {
    return this.network.sources.findIndex((device) => device.x === x && device.y === y);
  }

  /** What a second window needs to show the same. */
  snapshot() {
    return { mode: this.mode, chosen: this.chosen, shown: this.shown };
  }
}
