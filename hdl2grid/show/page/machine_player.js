// A machine in time: tickers by their periods and delays that run out (hdl2grid/sim/player.py).

import { Engine } from "./engine.js";

/** Most waves that delays may start before one tick. Guessed: delays that start each other never end. */
const MAX_WAVES_A_STEP = 100000;

/** How many times as fast as real time a machine may run: an hour a second at most. Guessed. */
export const SPEEDS = [0.25, 1, 10, 60, 3600];

/** The speed at which the quickest ticker ticks about once a second. */
export function easySpeed(sources) {
  const periods = sources.flatMap((source) => (source.kind === "ticker" ? [source.period_s] : []));
  const shortest = Math.min(...periods, Infinity);
  return periods.length ? (SPEEDS.findLast((speed) => speed >= 1 && speed <= Math.max(1, shortest)) ?? 1) : 1;
}

/** Decimals of a number as JSON writes it. */
function decimals(number) {
  const [mantissa, exponent] = String(number).split("e");
  return Math.max(0, (mantissa.split(".")[1]?.length ?? 0) - Number(exponent ?? 0));
}

/** Plays a network; `now` counts in parts of a second, `second` to each. */
export class Player {
  constructor(network, seed = 0n) {
    this.network = network;
    this.engine = new Engine(network, seed);
    const times = [...network.sources.map((source) => source.period_s ?? 0), ...network.delays];
    this.second = 10 ** Math.min(9, Math.max(0, ...times.map(decimals)));
    this.periods = network.sources.map((source) => Math.round((source.period_s ?? 0) * this.second));
    this.delays = network.delays.map((seconds) => Math.round(seconds * this.second));
    this.now = 0;
    this.nextTick = [...this.periods];
    this.pending = [];
    this.numStarted = 0;
    this.numWaves = 0;
    this.ticks = network.sources.map(() => 0);
    this.lost = new Map();
  }

  isRunning(source) {
    return this.engine.bits[this.network.firstSource + source] === 1;
  }

  /** Starts or stops a ticker by hand, which sends no pulse. */
  setRunning(source, running) {
    this.engine.bits[this.network.firstSource + source] = Number(running);
    this.nextTick[source] = this.now + this.periods[source];
  }

  /** The delay that runs out next: {time, driver, delay: its position in `pending`}; null if none was started. */
  nextDelay() {
    let first = -1;
    this.pending.forEach(({ time, order }, i) => {
      const best = this.pending[first];
      if (!best || time < best.time || (time === best.time && order < best.order)) first = i;
    });
    return first < 0 ? null : { ...this.pending[first], delay: first };
  }

  /** What happens next by itself, a delay or a running ticker's tick; null if nothing ever will. */
  next() {
    let best = this.nextDelay();
    this.periods.forEach((period, driver) => {
      if (!period || !this.isRunning(driver)) return;
      const time = Math.max(this.now, this.nextTick[driver]);
      if (!best || time < best.time) best = { time, driver, delay: -1 };
    });
    return best;
  }

  /** Begins the wave of what `next` gave. */
  beginNext(event) {
    this.now = Math.max(this.now, event.time);
    if (event.delay >= 0) this.pending.splice(event.delay, 1);
    else this.nextTick[event.driver] = event.time + this.periods[event.driver];
    this.begin(event.driver);
  }

  /** Begins a wave; a switch flips, a ticker ticks if it runs. */
  begin(driver) {
    if (!this.engine.begin(driver)) return;
    this.numWaves += 1;
    if (driver < this.ticks.length) this.ticks[driver] += 1;
  }

  /** One round of the running wave. */
  round() {
    const done = this.engine.round();
    if (this.engine.wave) return done;
    for (const stack of done.wave.lost) {
      const { name } = this.network.stacks[stack];
      this.lost.set(name, (this.lost.get(name) ?? 0) + 1);
    }
    const first = this.network.sources.length + this.network.stacks.length;
    for (const delay of done.wave.delays) {
      this.pending.push({ time: this.now + this.delays[delay], order: this.numStarted++, driver: first + delay });
    }
    return done;
  }

  /** The running wave to its end. */
  finish() {
    let done = null;
    while (this.engine.wave) done = this.round();
    return done;
  }

  /** One tick of a ticker, other tickers held; delays that run out before it start their waves. */
  tick(driver) {
    const time = Math.max(this.now, this.nextTick[driver]);
    for (let i = 0; i < MAX_WAVES_A_STEP; i++) {
      const due = this.nextDelay();
      if (!due || due.time > time) break;
      this.beginNext(due);
      this.finish();
    }
    this.now = time;
    this.nextTick[driver] = time + this.periods[driver];
    this.begin(driver);
  }
}
