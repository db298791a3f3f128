// Plays the vectors of a JSON file (argument 1) and prints what became of them: see tests/support/random_plans.py.

import { readFileSync } from "node:fs";
import { Engine } from "../../hdl2grid/show/page/engine.js";
import { boardOf, networkOf } from "../../hdl2grid/show/page/machine_network.js";
import { stateHex } from "./states.mjs";

const lines = [];
for (const { plan, seed, drivers } of JSON.parse(readFileSync(process.argv[2], "utf8"))) {
  const network = networkOf(boardOf(plan));
  lines.push([network.firstPixel, network.firstProbe, network.firstSource, network.firstStrobe].join(" "));
  network.hits.forEach((elements, driver) => lines.push(`${driver}: ${elements.join(" ")}`));
  const engine = new Engine(network, BigInt(seed));
  for (const driver of drivers) {
    const { rounds, pulses, lost, delays } = engine.fire(driver);
    lines.push(`${driver} ${rounds} ${pulses} [${lost}] [${delays}] ${stateHex(engine)}`);
  }
}
process.stdout.write(lines.join("\n") + "\n");
