// Does with a page's model what a person does on the plan of argument 1, and prints what came of it as JSON.

import { readFileSync } from "node:fs";
import { PageModel } from "../../hdl2grid/show/page/model.js";

const plan = JSON.parse(readFileSync(process.argv[2], "utf8"));
const model = new PageModel({ plan, origin: {} });
const [width, height] = plan.size;
const tiles = Array.from({ length: width * height }, (_, i) => [i % width, Math.floor(i / width)]);

// Every net is found by the pointer somewhere, unless its colour is hidden; a device's middle is the device.
const parts = Array.from({ length: 21 }, (_, i) => i / 20);
const netsFound = () => new Set(tiles.flatMap(([x, y]) => parts.flatMap((fx) => parts.map((fy) => model.targetAt(x, y, fx, fy).net ?? -1))));
const reached = [...netsFound()].filter((net) => net >= 0).length;
const boxes = plan.devices.filter((device) => device.kind !== "crossover").map(({ x, y }) => model.targetAt(x, y, 0.5, 0.5));
model.shown.fill(false);
const reachedHidden = [...netsFound()].filter((net) => net >= 0).length;

// The tabs in both ways; the cursor at the corners; what marks a net and a tile; the nets of a tile in turn.
const tabs = ["look", "play", "lay"].map((mode) => [model.modeAfter(mode, 1), model.modeAfter(mode, -1)]);
model.moveCursor(-3, height + 5);
const { cursor } = model;
const marks = model.found.nets.map((_, net) => model.marksOf({ net }));
const turns = tiles.map(([x, y]) => {
  model.moveCursor(x, y);
  model.chosen = null;
  return model.netsOn(x, y).map(() => {
    model.chosen = { net: model.nextNet() };
    return model.chosen.net;
  });
});
const hovers = [null, { net: 0 }, { net: 0 }, { x: 1, y: 1 }, null].map((target) => model.hover(target));

// Laying forgets what is chosen and draws another board; the plan comes back after it.
model.setMode("lay");
const { chosen } = model.snapshot();
model.showScene({ ...model.board, devices: [], width: 1, height: 1 }, { stacks: [], nets: [], netsAt: () => [] });
const onScene = model.targetAt(1, 1, 0.5, 0.5);
model.showPlan();
const onPlan = model.targetAt(1, 1, 0.5, 0.5);

process.stdout.write(JSON.stringify({
  nets: model.found.nets.length,
  reached,
  reachedHidden,
  boxes,
  tabs,
  cursor,
  marks,
  turns: turns.every((nets, i) => new Set(nets).size === nets.length && nets.length === model.netsOn(...tiles[i]).length),
  hovers,
  chosen,
  onScene,
  onPlan,
  outside: [model.targetAt(-1, 0, 0, 0), model.marksOf(null)],
  sources: plan.devices.map(({ x, y }) => model.sourceAt(x, y)),
}));
