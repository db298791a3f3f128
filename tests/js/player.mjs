// Plays vectors in time, as a person does in the page: their drivers below the number of sources are ticks, presses
// and flips. Prints the time in seconds and the state after each.

import { readFileSync } from "node:fs";
import { boardOf, networkOf } from "../../hdl2grid/show/page/machine_network.js";
import { Player } from "../../hdl2grid/show/page/machine_player.js";
import { stateHex } from "./states.mjs";

const lines = [];
for (const { plan, seed, drivers } of JSON.parse(readFileSync(process.argv[2], "utf8"))) {
  const player = new Player(networkOf(boardOf(plan)), BigInt(seed));
  const { sources } = player.network;
  for (const driver of drivers.filter((number) => number < sources.length)) {
    if (sources[driver].kind === "ticker") player.tick(driver);
    else player.begin(driver);
    player.finish();
    lines.push(`${player.now / player.second} ${stateHex(player.engine)}`);
  }
}
process.stdout.write(lines.join("\n") + "\n");
