// What things are called: devices, stacks and nets in words, with the HDL signal and source line they stand for.

import { t, tile, tn } from "./text.js";

/** A device in a few words, as it bears `bit` just now. */
export function deviceWords(device, bit) {
  const on = bit ?? Number(device.bit || device.lit || device.running || device.on || 0);
  const { name } = device;
  switch (device.kind) {
    case "gate":
      return t("gate {function} {name}", { function: device.function, name });
    case "toggle":
      return t("toggle, {bit}", { bit: on });
    case "strobe":
      return t("strobe");
    case "pixel":
      return on ? t("pixel {signal}, lit", device) : t("pixel {signal}, dark", device);
    case "ticker":
      return on ? t("ticker {name}, running", { name }) : t("ticker {name}, stopped", { name });
    case "button":
      return t("button {name}", { name });
    case "switch":
      return on ? t("switch {name}, on", { name }) : t("switch {name}, off", { name });
    case "delay":
      return t("delay of {seconds} s", device);
    default:
      return t("crossover");
  }
}

/** What a gate says of its toggles. */
export function functionWords(name) {
  return {
    AND: t("1 when all toggles are 1"),
    OR: t("1 when at least one toggle is 1"),
    NAND: t("1 unless all toggles are 1"),
    NOR: t("1 when no toggle is 1"),
    XOR: t("1 when exactly one toggle is 1"),
    XNOR: t("1 unless exactly one toggle is 1"),
  }[name];
}

/** Names of what stands on one board, with the circuit's `origin` by stack name where there is one. */
export class Naming {
  constructor(board, found, origin = {}) {
    this.board = board;
    this.found = found;
    this.origin = origin;
    this.at = new Map(board.devices.map((device, i) => [`${device.x},${device.y}`, i]));
    this.stackOfDevice = new Map();
    found.stacks.forEach((stack, i) => {
      for (const device of [stack.gate, ...stack.toggles, stack.strobe]) this.stackOfDevice.set(device, i);
    });
    this.signalsOfNet = found.nets.map(() => []);
    for (const [signal, tap] of Object.entries(board.signals)) {
      const here = found.netsAt(tap.x, tap.y).filter((place) => board.colours[place.colour] === tap.colour);
      if (here.length === 1) this.signalsOfNet[here[0].net].push(signal);
    }
  }

  deviceAt(x, y) {
    return this.at.get(`${x},${y}`) ?? -1;
  }

  stackName(stack) {
    return this.board.devices[this.found.stacks[stack].gate].name;
  }

  stackDevices(stack) {
    const { gate, toggles, strobe } = this.found.stacks[stack];
    return strobe < 0 ? [gate, ...toggles] : [gate, ...toggles, strobe];
  }

  /** The names of what drives a net, joined. */
  driversText(net) {
    const { drivers } = this.found.nets[net];
    const names = drivers.map((i) => this.board.devices[i].name ?? t("delay"));
    return names.join(" + ");
  }

  netWords(net) {
    const colour = this.board.colours[this.found.nets[net].colour];
    const drivers = this.driversText(net);
    return drivers ? t("{colour} net of {drivers}", { colour, drivers }) : t("{colour} net without a driver", { colour });
  }

  /** How far a net reaches, in words. */
  netReach(net) {
    const { places, sinks } = this.found.nets[net];
    const size = new Set(places.map((place) => `${place.x},${place.y}`)).size;
    return [tn("{n} tile", "{n} tiles", size), tn("{n} sink", "{n} sinks", sinks.length)].join(", ");
  }

  /** The HDL signals and source lines of the stacks that drive a net or are one: {signals, sources}. */
  originOf(gates, taps = []) {
    const found = gates.map((i) => this.origin[this.board.devices[i].name]).filter(Boolean);
    const distinct = (values) => [...new Set(values.filter(Boolean))];
    return {
      signals: distinct([...taps, ...found.map((origin) => origin.signal)]),
      sources: distinct(found.map((origin) => origin.source)),
      blocks: distinct(found.map((origin) => origin.block)),
    };
  }

  /** A tile in one line: what stands on it and which nets are there. */
  tileWords(x, y, bitOfDevice = () => undefined) {
    const words = [];
    const device = this.deviceAt(x, y);
    if (device >= 0) {
      words.push(deviceWords(this.board.devices[device], bitOfDevice(device)));
      const stack = this.stackOfDevice.get(device);
      if (stack !== undefined && this.board.devices[device].kind !== "gate") {
        words.push(t("of stack {name}", { name: this.stackName(stack) }));
      }
    }
    for (const { net } of this.found.netsAt(x, y)) words.push(this.netWords(net));
    return words.length ? words.join(" · ") : t("nothing");
  }

  /** Everything that can be searched for: {text, also, kind, at: [x, y], thing}. */
  entries() {
    const { board, found } = this;
    const entries = [];
    const add = (kind, text, also, [x, y], thing) => entries.push({ kind, text, also, at: [x, y], thing });
    found.stacks.forEach((stack, i) => {
      const gate = board.devices[stack.gate];
      const { signals, sources } = this.originOf([stack.gate]);
      add(t("stack"), gate.name, [...signals, ...sources], [gate.x, gate.y], { stack: i });
    });
    board.devices.forEach((d, i) => {
      if (d.kind === "pixel") add(t("pixel"), d.signal, [], [d.x, d.y], { device: i });
      else if (d.name && d.kind !== "gate") add(d.kind === "ticker" ? t("ticker") : d.kind === "button" ? t("button") : t("switch"), d.name, [], [d.x, d.y], { device: i });
    });
    this.signalsOfNet.forEach((signals, net) => {
      for (const signal of signals) {
        const { x, y } = board.signals[signal];
        add(t("signal"), signal, [this.netWords(net)], [x, y], { net });
      }
    });
    found.nets.forEach((net, i) => {
      const { x, y } = net.places[0];
      add(t("net"), this.netWords(i), [], [x, y], { net: i });
    });
    return entries;
  }
}

/** The entries that contain `query`, those that begin with it first; a coordinate finds its tile. */
export function findEntries(entries, query, board) {
  const wanted = query.trim().toLowerCase();
  if (!wanted) return [];
  const place = /^\(?\s*(\d+)\s*[,;\s]\s*(\d+)\s*\)?$/.exec(wanted);
  if (place) {
    const [x, y] = [Number(place[1]), Number(place[2])];
    if (x >= board.width || y >= board.height) return [];
    return [{ kind: t("tile"), text: tile(x, y), also: [], at: [x, y], thing: {} }];
  }
  const rank = (entry) => {
    const text = entry.text.toLowerCase();
    if (text === wanted) return 0;
    if (text.startsWith(wanted)) return 1;
    if (text.includes(wanted)) return 2;
    return entry.also.some((other) => other.toLowerCase().includes(wanted)) ? 3 : 4;
  };
  return entries
    .map((entry) => [rank(entry), entry])
    .filter(([order]) => order < 4)
    .sort((a, b) => a[0] - b[0])
    .map(([, entry]) => entry);
}
