// The 'Look' panel: what was chosen, in full; without a choice the machine as a whole and the legend.

import { button, h, s } from "./dom.js";
import { symbolOf } from "./drawing.js";
import { deviceWords, functionWords } from "./naming.js";
import { t, tile, tn } from "./text.js";
import { TILE } from "./wires.js";

/** The panel's content for `chosen`: {x, y, net}, either a tile or a net. */
export function inspectPanel(page, chosen) {
  if (!chosen) return summary(page);
  const parts = [];
  if (chosen.net !== undefined) parts.push(netCard(page, chosen.net));
  else parts.push(tileCard(page, chosen.x, chosen.y));
  parts.push(button(t("Nothing chosen"), () => page.choose(null), { class: "quiet" }));
  return h("div", { class: "inspect" }, parts);
}

function facts(pairs) {
  const rows = pairs.filter(([, value]) => value && value.length !== 0);
  return h("dl", {}, rows.map(([name, value]) => [h("dt", {}, name), h("dd", {}, value)]));
}

function lines(values) {
  return values.map((value) => h("span", { class: "line" }, value));
}

function originFacts({ signals, sources, blocks }) {
  return [
    [t("HDL signal"), lines(signals)],
    [t("Source line"), lines(sources)],
    [t("Block"), lines(blocks)],
  ];
}

function tileCard(page, x, y) {
  const { naming, plan, found } = page.model;
  const device = naming.deviceAt(x, y);
  const nets = found.netsAt(x, y);
  const cards = [h("h3", {}, t("Tile {tile}", { tile: tile(x, y) }))];
  if (device >= 0) {
    cards.push(h("p", { class: "what" }, deviceWords(plan.devices[device], page.bitOf(device))));
    const stack = naming.stackOfDevice.get(device);
    if (stack !== undefined) cards.push(stackFacts(page, stack));
    if (plan.devices[device].kind === "pixel") {
      cards.push(facts([[t("HDL signal"), plan.devices[device].signal]]));
    }
  } else if (!nets.length) {
    cards.push(h("p", {}, t("Nothing stands here.")));
  }
  if (nets.length) {
    cards.push(h("h4", {}, t("Wire here")));
    cards.push(h("ul", { class: "links" }, [...new Set(nets.map((place) => place.net))].map((net) => h("li", {}, netButton(page, net)))));
  }
  return h("div", { class: "card" }, cards);
}

function stackFacts(page, stack) {
  const { naming, plan, found } = page.model;
  const { gate, toggles, strobe } = found.stacks[stack];
  const device = plan.devices[gate];
  const kind = strobe >= 0 ? t("samples its toggle when its strobe is hit") : t("emits when its function changes");
  return facts([
    [t("Stack"), device.name],
    [t("Kind"), kind],
    [t("Function"), strobe >= 0 ? null : functionWords(device.function)],
    [t("Toggles"), toggles.map((i) => page.bitOf(i) ?? plan.devices[i].bit).join(" ")],
    ...originFacts(naming.originOf([gate])),
  ]);
}

function netButton(page, net) {
  const { naming, plan, found } = page.model;
  const { colour } = found.nets[net];
  const line = wireSample(page, colour);
  return h("button", { type: "button", class: "link", onclick: () => page.choose({ net }) }, line, naming.netWords(net), h("small", {}, naming.netReach(net)));
}

function netCard(page, net) {
  const { naming, plan, found } = page.model;
  const { colour, drivers, sinks } = found.nets[net];
  const taps = naming.signalsOfNet[net];
  const gates = drivers.filter((i) => plan.devices[i].kind === "gate");
  return h("div", { class: "card" },
    h("h3", {}, t("Net")),
    h("p", { class: "what" }, wireSample(page, colour), naming.netWords(net)),
    facts([[t("Size"), naming.netReach(net)], ...originFacts(naming.originOf(gates, taps))]),
    h("h4", {}, t("Driven by")),
    deviceLinks(page, drivers),
    h("h4", {}, t("Reaches")),
    deviceLinks(page, sinks),
  );
}

function deviceLinks(page, indices) {
  const { naming, plan } = page.model;
  if (!indices.length) return h("p", {}, t("nothing"));
  const item = (i) => {
    const device = plan.devices[i];
    const stack = naming.stackOfDevice.get(i);
    const owner = stack !== undefined && device.kind !== "gate" ? t("of stack {name}", { name: naming.stackName(stack) }) : "";
    const words = `${deviceWords(device, page.bitOf(i))} ${owner}`.trim();
    return h("li", {}, h("button", { type: "button", class: "link", onclick: () => page.locate(device.x, device.y) }, words, h("small", {}, tile(device.x, device.y))));
  };
  return h("ul", { class: "links" }, indices.map(item));
}

/** A short piece of wire as the drawing shows it. */
export function wireSample(page, colour) {
  return s("svg", { class: `sample wire w${colour}`, viewBox: "0 0 34 12", width: 34, height: 12, "aria-hidden": "true" },
    s("path", { class: "casing", d: "M1 6H33" }),
    s("path", { class: "core", d: "M1 6H33" }),
  );
}

function summary(page) {
  const { plan, found } = page.model;
  const tiles = plan.colours.map((name, colour) => page.model.board.tiles[colour].size);
  return h("div", { class: "inspect" },
    h("p", { class: "hint" }, t("Choose a tile or a wire in the drawing, or search. With the keyboard: Tab to the drawing, then the arrow keys and Enter.")),
    facts([
      [t("Grid"), t("{width} x {height} tiles", { width: page.model.board.width, height: page.model.board.height })],
      [t("Stacks"), String(found.stacks.length)],
      [t("Nets"), String(found.nets.length)],
      [t("Wire"), tn("{n} tile", "{n} tiles", tiles.reduce((a, b) => a + b, 0))],
      [t("Target"), plan.target],
    ]),
    h("h3", {}, t("Legend")),
    legend(page.model),
  );
}

function legend({ plan }) {
  const sorts = new Map();
  for (const device of plan.devices) {
    const symbol = symbolOf(device);
    if (!sorts.has(symbol)) sorts.set(symbol, { device, count: 0 });
    sorts.get(symbol).count += 1;
  }
  const rows = [...sorts].sort().map(([symbol, { device, count }]) =>
    h("li", {}, s("svg", { viewBox: `0 0 ${TILE} ${TILE}`, width: 30, height: 30, "aria-hidden": "true", class: "symbol" }, s("use", { href: `#${symbol}` })), h("span", {}, `${count} × ${legendWords(device)}`)),
  );
  return h("ul", { class: "legend" }, rows);
}

function legendWords(device) {
  switch (device.kind) {
    case "gate":
      return t("gate {function}: {meaning}", { function: device.function, meaning: functionWords(device.function) });
    case "toggle":
      return device.bit ? t("toggle that bears 1") : t("toggle that bears 0");
    case "strobe":
      return t("strobe: makes its stack sample");
    case "pixel":
      return device.lit ? t("pixel, lit") : t("pixel, dark");
    case "ticker":
      return t("ticker");
    case "button":
      return t("button");
    case "switch":
      return t("switch");
    case "delay":
      return t("delay, to the end of its line");
    default:
      return t("crossover: the ways do not touch");
  }
}
