// Lays the machine of a guide (argument 2) as the page does, and compares it with its plan (argument 1).
// Prints a JSON object: expectations that did not hold, lost pulses, and where the end is not the plan.

import { readFileSync } from "node:fs";
import { stepsOf } from "../../hdl2grid/show/page/lay.js";
import { boardOf } from "../../hdl2grid/show/page/machine_network.js";
import { Progress } from "../../hdl2grid/show/page/site.js";

const [plan, guide] = process.argv.slice(2, 4).map((name) => JSON.parse(readFileSync(name, "utf8")));
const laying = { pixelLit: true, tickerRunning: false, gateOutput: 0 };
const steps = stepsOf(guide);
const progress = new Progress(plan, laying, steps);
const unseen = [];
let numSeen = 0;
steps.forEach((step, i) => {
  const site = progress.after(i + 1);
  for (const expectation of step.expect) {
    if (site.holds(expectation)) numSeen += 1;
    else unseen.push([step.number, expectation]);
  }
});
const end = progress.after(steps.length);
const board = boardOf(plan);
const told = (device) => {
  const { output, ...rest } = device;
  return JSON.stringify(Object.entries(rest).sort());
};
const there = new Set(end.devices.map(told));
const wanted = new Set(board.devices.map(told));
const wires = plan.colours.map((_, c) => [...end.tiles[c]].filter((tile) => !board.tiles[c].has(tile)).length
  + [...board.tiles[c]].filter((tile) => !end.tiles[c].has(tile)).length);
process.stdout.write(JSON.stringify({
  steps: steps.length,
  seen: numSeen,
  unseen: unseen.slice(0, 20),
  lost: end.lost,
  missing: [...wanted].filter((text) => !there.has(text)),
  surplus: [...there].filter((text) => !wanted.has(text)),
  wires,
}));
