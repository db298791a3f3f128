// The drawing: what stands on the tiles, as SVG in layers. A tile is 24 units wide.

import { s } from "./dom.js";
import { lane, netPaths, strokePath, TILE } from "./wires.js";

const LAYERS = [
  "ground",
  "stacks",
  "under",
  "halo",
  "pulse",
  "wires",
  "fresh",
  "devices",
  "names",
  "marks",
  "ends",
  "hot",
  "changed",
  "cursor",
];

/** The name of the symbol that shows a device as it is; a `bit` overrides the one that it bears. */
export function symbolOf(device, bit) {
  const on = bit ?? (device.bit || device.lit || device.running || device.on ? 1 : 0);
  switch (device.kind) {
    case "gate":
      return `gate-${device.function}`;
    case "toggle":
      return `toggle-${on}`;
    case "pixel":
      return on ? "pixel-lit" : "pixel-dark";
    case "ticker":
      return on ? "ticker-running" : "ticker-stopped";
    case "switch":
      return on ? "switch-on" : "switch-off";
    default:
      return device.kind;
  }
}

export class Drawing {
  /** `colours` say how wires look: {name, code, hue, dash (in tenths of a tile), casing}. */
  constructor(svg, colours) {
    this.svg = svg;
    this.colours = colours;
    this.shown = colours.map(() => true);
    this.layers = Object.fromEntries(LAYERS.map((name) => [name, s("g", { class: name })]));
    svg.append(...Object.values(this.layers));
  }

  clear(...names) {
    for (const name of names) this.layers[name].replaceChildren();
  }

  /**
   * Draws a board. `tones` may give classes: `device(i)`, `net(i)`. The extraction `found` must be the board's.
   */
  draw(board, found, tones = {}) {
    this.board = board;
    this.found = found;
    this.clear(...LAYERS);
    this.nameTiles = new Set();
    this.drawGround(board);
    this.drawStacks();
    this.drawWires(tones.net ?? (() => ""));
    this.drawDevices(tones.device ?? (() => ""));
  }

  drawGround({ width, height, backdrop = [] }) {
    const areas = backdrop.map(([x0, y0, x1, y1]) =>
      s("rect", { class: "backdrop", x: x0 * TILE, y: y0 * TILE, width: (x1 - x0 + 1) * TILE, height: (y1 - y0 + 1) * TILE }),
    );
    const lines = ["", ""];
    for (let x = 0; x <= width; x++) lines[Number(x % 5 === 0)] += `M${x * TILE} 0V${height * TILE}`;
    for (let y = 0; y <= height; y++) lines[Number(y % 5 === 0)] += `M0 ${y * TILE}H${width * TILE}`;
    this.layers.ground.append(
      s("rect", { class: "paper", width: width * TILE, height: height * TILE }),
      ...areas,
      s("path", { class: "grid", d: lines[0] }),
      s("path", { class: "grid fifth", d: lines[1] }),
      s("g", { class: "print-only" }),
    );
  }

  /** Puts coordinates around the area [x0, y0, x1, y1] that is to be printed. */
  showPrinted([x0, y0, x1, y1]) {
    const every = Math.max(x1 - x0, y1 - y0) > 120 ? 5 : 1;
    const texts = [];
    const [left, top, right, bottom] = [x0, y0, x1 + 1, y1 + 1].map((tiles) => tiles * TILE);
    const text = (x, y, n, anchor) => texts.push(s("text", { x, y, "text-anchor": anchor }, String(n)));
    for (let x = Math.ceil(x0 / every) * every; x <= x1; x += every) {
      for (const y of [top - 4, bottom + 11]) text((x + 0.5) * TILE, y, x, "middle");
    }
    for (let y = Math.ceil(y0 / every) * every; y <= y1; y += every) {
      text(left - 4, (y + 0.65) * TILE, y, "end");
      text(right + 4, (y + 0.65) * TILE, y, "start");
    }
    this.svg.querySelector(".print-only").replaceChildren(...texts);
  }

  drawStacks() {
    const { devices } = this.board;
    this.stackShapes = this.found.stacks.map((stack) => {
      const gate = devices[stack.gate];
      const height = 1 + stack.toggles.length + Number(stack.strobe >= 0);
      const shape = s("rect", {
        class: "stack",
        x: gate.x * TILE + 1.2,
        y: (gate.y - height + 1) * TILE + 1.2,
        width: TILE - 2.4,
        height: height * TILE - 2.4,
        rx: 3,
      });
      this.layers.stacks.append(shape);
      return shape;
    });
  }

  drawWires(tone) {
    const { devices } = this.board;
    const boxes = new Set(devices.filter((d) => d.kind !== "crossover").map((d) => `${d.x},${d.y}`));
    const passing = (x, y) =>
      this.found.netsAt(x, y).filter((place) => place.half === "ns").map((place) => place.colour);
    const hasBox = (x, y) => boxes.has(`${x},${y}`);
    this.paths = this.found.nets.map((net) => netPaths(net, this.colours.length, passing, hasBox));
    this.netShapes = this.found.nets.map((net, i) => {
      const { core, joints } = this.paths[i];
      const shape = s("g", { class: `net ${this.wireClass(net.colour)} ${tone(i)}` });
      if (core) shape.append(s("path", { class: "casing", d: core }), s("path", { class: "core", d: core }));
      if (joints) shape.append(s("path", { class: "joints", d: joints }));
      this.layers.wires.append(shape);
      return shape;
    });
    this.applyShown();
  }

  wireClass(colour) {
    return `wire w${colour}`;
  }

  drawDevices(tone) {
    const { devices } = this.board;
    this.deviceShapes = devices.map((device, i) => {
      const layer = device.kind === "crossover" ? this.layers.under : this.layers.devices;
      const shape = s("use", { href: `#${symbolOf(device)}`, x: device.x * TILE, y: device.y * TILE, class: tone(i) });
      if (device.to) this.drawDelayEnd(device, tone(i));
      layer.append(shape);
      return shape;
    });
    for (const device of devices) {
      if (device.kind === "ticker" || device.kind === "button" || device.kind === "switch") this.drawName(device);
    }
  }

  drawDelayEnd(device, tone) {
    const [x0, y0, x1, y1] = [device.x, device.y, ...device.to].map((index) => (index + 0.5) * TILE);
    this.layers.under.append(s("path", { class: `delay-line ${tone}`, d: `M${x0} ${y0}L${x1} ${y1}` }));
    this.layers.devices.append(s("circle", { class: `delay-end ${tone}`, cx: x1, cy: y1, r: 5 }));
  }

  /** A source's name beside it, on the side where most tiles are free; two names keep a tile between them. */
  drawName(device) {
    const length = Math.ceil((device.name.length * 5.4) / TILE);
    const taken = (x, y) =>
      x < 0 || y < 0 || x >= this.board.width || y >= this.board.height ? 0.6
      : this.nameTiles.has(`${x},${y}`) ? 3
      : this.found.netsAt(x, y).length || this.board.devices.some((d) => d.x === x && d.y === y) ? 1 : 0;
    const row = (x, y) => Array.from({ length }, (_, i) => taken(x + i, y)).reduce((a, b) => a + b, 0);
    const { x, y } = device;
    const shift = Math.floor((length - 1) / 2);
    const places = [
      [x + 1, y, (x + 1.1) * TILE, (y + 0.63) * TILE, "start"],
      [x - length, y, (x - 0.1) * TILE, (y + 0.63) * TILE, "end"],
      [x - shift, y - 1, (x + 0.5) * TILE, (y - 0.2) * TILE, "middle"],
      [x - shift, y + 1, (x + 0.5) * TILE, (y + 1.5) * TILE, "middle"],
    ].map((place) => [row(place[0], place[1]), ...place]).sort((a, b) => a[0] - b[0]);
    const [, first, line, left, base, anchor] = places[0];
    for (let i = -1; i <= length; i += 1) this.nameTiles.add(`${first + i},${line}`);
    this.layers.names.append(s("text", { x: left, y: base, "text-anchor": anchor }, device.name));
  }

  /** Shows device `i` as bearing `bit`. */
  setBit(i, bit) {
    const name = `#${symbolOf(this.board.devices[i], bit)}`;
    if (this.deviceShapes[i].getAttribute("href") !== name) this.deviceShapes[i].setAttribute("href", name);
  }

  /** Which colours are shown. */
  showColours(shown) {
    this.shown = shown;
    this.applyShown();
  }

  applyShown() {
    const set = (shape, shown) => (shown ? shape.removeAttribute("display") : shape.setAttribute("display", "none"));
    this.netShapes?.forEach((shape, i) => set(shape, this.shown[this.found.nets[i].colour]));
  }

  /** Sets off nets and devices from all the rest; empty lists take that back. */
  highlight(nets, devices) {
    this.clear("halo", "hot");
    const any = nets.length + devices.length > 0;
    this.svg.classList.toggle("has-hot", any);
    const hot = new Set(nets);
    this.netShapes.forEach((shape, i) => shape.classList.toggle("hot", hot.has(i)));
    const cores = nets.map((net) => this.paths[net].core).join("");
    if (cores) this.layers.halo.append(s("path", { d: cores }));
    this.layers.hot.append(...devices.map((i) => this.ring(this.board.devices[i], "hot-ring")));
  }

  ring({ x, y }, name) {
    return s("rect", { class: name, x: x * TILE + 1, y: y * TILE + 1, width: TILE - 2, height: TILE - 2, rx: 4 });
  }

  /** The nets that carry a pulse just now and the devices that emit it. */
  pulse(nets, emitting) {
    this.clear("pulse");
    const cores = nets.map((net) => this.paths[net].core).join("");
    if (cores) this.layers.pulse.append(s("path", { d: cores }));
    this.layers.pulse.append(...emitting.map((i) => this.ring(this.board.devices[i], "emits")));
  }

  /** The devices that the last wave or round has changed. */
  changed(indices) {
    this.clear("changed");
    this.layers.changed.append(...indices.map((i) => this.ring(this.board.devices[i], "has-changed")));
  }

  cursor(at) {
    this.clear("cursor");
    if (at) this.layers.cursor.append(this.ring(at, "cursor-ring"));
  }

  /** New strokes and strokes taken up, over the rest, with their ends marked and named. */
  fresh(laid, gone) {
    this.clear("fresh", "ends");
    this.named = new Set();
    for (const { colour, stroke } of laid) this.freshStroke(colour, stroke, "new");
    for (const { colour, stroke } of gone) this.freshStroke(colour, stroke, "gone");
  }

  freshStroke(colour, stroke, name) {
    const n = this.colours.length;
    const d = strokePath(stroke, colour, n);
    const [x0, y0, x1, y1] = stroke;
    const ends = x0 === x1 && y0 === y1 ? [[x0, y0]] : [[x0, y0], [x1, y1]];
    const dot = ([x, y]) => s("circle", { class: "joints", cx: lane(x, colour, n), cy: lane(y, colour, n), r: 2.4 });
    const lines = [s("path", { class: "casing", d }), s("path", { class: "core", d })];
    this.layers.fresh.append(s("g", { class: `${this.wireClass(colour)} ${name}` }, lines, ends.map(dot)));
    ends.forEach(([x, y], i) => {
      if (this.named.has(`${x},${y}`)) return;
      this.named.add(`${x},${y}`);
      const outward = y0 === y1 ? [i ? 9 : -9, -5] : [9, i ? 12 : -7];
      const anchor = y0 === y1 && i === 0 && ends.length > 1 ? "end" : "start";
      const place = { x: lane(x, colour, n) + outward[0], y: lane(y, colour, n) + outward[1], "text-anchor": anchor };
      this.layers.ends.append(s("text", { class: "end", ...place }, `(${x},${y})`));
    });
  }

  /** Marks for laying: tiles [x, y] to keep clear, and tiles {x, y} to look at and to put hands on. */
  layingMarks(keepClear, seen, touched) {
    this.clear("marks");
    const cross = ([x, y]) =>
      s("path", { class: "keep-clear", d: `M${x * TILE + 6} ${y * TILE + 6}l12 12m0 -12l-12 12` });
    this.layers.marks.append(...keepClear.map(cross), ...seen.map((at) => this.ring(at, "must-see")));
    this.layers.marks.append(...touched.map((at) => this.ring(at, "has-changed")));
  }
}
