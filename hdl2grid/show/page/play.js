// Playing the machine: sources to press, flip, start and stop; rounds, waves and ticks to step; time to run.

import { button, checkbox, h, select } from "./dom.js";
import { Pace } from "./pace.js";
import { Player } from "./player.js";
import { t, tile, tn } from "./text.js";
import { words, wordText } from "./words.js";

const BUSY_MS = 12;
const MAX_LISTED_LOST = 8;
const SPEEDS = [0.25, 1, 10, 60, 3600];

/** The speed at which the quickest ticker ticks about once a second. */
function easySpeed(sources) {
  const periods = sources.flatMap((source) => (source.kind === "ticker" ? [source.period_s] : []));
  const shortest = Math.min(...periods, Infinity);
  return periods.length ? (SPEEDS.findLast((speed) => speed >= 1 && speed <= Math.max(1, shortest)) ?? 1) : 1;
}

export class Play {
  /** `page` offers drawing, plan's network, naming, isCalm(), say(text), changed(). */
  constructor(page) {
    this.page = page;
    this.speed = easySpeed(page.network.sources);
    this.byRound = !page.isCalm();
    this.holds = false;
    this.running = false;
    this.pace = new Pace(() => this.paint(), page.isCalm);
    this.restart();
    this.panel = this.makePanel();
  }

  restart() {
    this.player = new Player(this.page.network);
    this.lastRound = null;
    this.flipped = new Set();
    this.lastWave = null;
    this.shownBits = null;
  }

  get busy() {
    return this.player.engine.wave !== null;
  }

  // What a person does.

  /** Presses a button, flips a switch, starts or stops a ticker. */
  act(source) {
    const { kind, name } = this.page.network.sources[source];
    this.settle();
    if (kind === "ticker") {
      this.player.setRunning(source, !this.player.isRunning(source));
      this.page.say(this.player.isRunning(source) ? t("{name} runs", { name }) : t("{name} is stopped", { name }));
      this.pace.request();
      return;
    }
    this.player.begin(source);
    this.beginShow();
  }

  /** One tick of a ticker, which must run for it. */
  tickOnce(source) {
    this.settle();
    this.player.tick(source);
    this.beginShow();
  }

  stepRound() {
    if (!this.busy && !this.beginNext()) return;
    this.oneRound();
    this.pace.request();
  }

  stepWave() {
    if (!this.busy && !this.beginNext()) return;
    this.finishWave();
    this.pace.request();
  }

  stepTicks(source, count) {
    this.settle();
    this.flipped.clear();
    for (let i = 0; i < count; i++) {
      this.player.tick(source);
      if (this.busy) this.oneRound();
      while (this.busy) this.oneRound();
    }
    this.pace.request();
  }

  run(running) {
    this.running = running;
    this.lastTime = performance.now();
    this.debt = 0;
    if (running) this.frame();
    this.pace.request();
  }

  toStart() {
    this.run(false);
    this.restart();
    this.pace.request();
    this.page.say(t("Back in the first state"));
  }

  // What follows from it.

  beginNext() {
    const event = this.player.next();
    if (!event) {
      this.page.say(t("Nothing happens by itself: no ticker runs and no delay is due."));
      return false;
    }
    this.flipped.clear();
    this.player.beginNext(event);
    return this.busy;
  }

  /** Shows a wave that has just begun: at once, or round by round. */
  beginShow() {
    this.flipped.clear();
    if (!this.busy) {
      this.pace.request();
    } else if (this.holds || this.byRound) {
      this.oneRound();
      this.pace.request();
      if (!this.holds && !this.running) this.showFurther();
    } else {
      this.finishWave();
      this.pace.request();
    }
  }

  /** Shows the next rounds of a wave by themselves, one at every paint. */
  showFurther() {
    clearTimeout(this.further);
    this.further = setTimeout(() => {
      if (this.running || this.holds) return;
      if (this.busy) {
        this.oneRound();
        this.pace.request();
        this.showFurther();
      } else if (this.lastRound) {
        this.lastRound = null;
        this.pace.request();
      }
    }, this.pace.interval + 60);
  }

  oneRound() {
    const round = this.player.round();
    this.lastRound = round;
    for (const element of round.flipped) this.flipped.add(element);
    if (!this.busy) this.lastWave = round.wave;
  }

  finishWave() {
    while (this.busy) this.oneRound();
    this.lastRound = null;
  }

  /** Waves never overlap: what is under way ends before something new begins. */
  settle() {
    if (this.busy) this.finishWave();
    this.lastRound = null;
  }

  frame() {
    if (!this.running) return;
    const now = performance.now();
    this.debt += ((now - this.lastTime) / 1000) * this.speed * this.player.second;
    this.lastTime = now;
    if (this.busy && this.byRound) {
      if (this.pace.wait === 0 || this.isLate()) this.runRound();
    } else {
      this.runWaves(now + BUSY_MS);
    }
    requestAnimationFrame(() => this.frame());
  }

  /** Whether so many events are due that there is no time to show rounds. */
  isLate() {
    const event = this.player.next();
    return event !== null && event.time + this.player.second * 0.5 < this.player.now + this.debt;
  }

  runRound() {
    this.oneRound();
    this.pace.request();
  }

  runWaves(until) {
    let played = 0;
    while (performance.now() < until) {
      if (this.busy) this.finishWave();
      const event = this.player.next();
      const due = event && event.time - this.player.now;
      if (!event || due > this.debt) {
        const idle = event ? this.debt : 0;
        this.player.now += Math.floor(idle);
        this.debt -= Math.floor(idle);
        if (!event) this.debt = 0;
        break;
      }
      this.debt -= Math.max(0, due);
      if (!played) this.flipped.clear();
      this.player.beginNext(event);
      played += 1;
      if (this.byRound && !this.isLate()) {
        if (this.busy) this.oneRound();
        break;
      }
    }
    if (this.debt > this.player.second * this.speed) this.debt = this.player.second * this.speed;
    if (played) this.pace.request();
    else this.updateClock();
  }

  // What is shown.

  paint() {
    if (this.page.mode !== "play") return;
    this.paintDrawing();
    this.paintPanel();
    this.page.changed();
  }

  /** What a second window needs to show the same. */
  snapshot() {
    const { bits } = this.player.engine;
    return { bits: Array.from(bits).join(""), round: this.roundShown(), flipped: [...this.flipped] };
  }

  roundShown() {
    const { lastRound } = this;
    return lastRound && { number: lastRound.number, emitting: lastRound.emitting };
  }

  apply({ bits, round, flipped }) {
    this.player.engine.bits.set(Array.from(bits, Number));
    this.lastRound = round;
    this.flipped = new Set(flipped);
    this.paintDrawing();
  }

  paintDrawing() {
    const { network, drawing, found } = this.page;
    const { bits } = this.player.engine;
    network.elements.forEach((device, element) => {
      if (device >= 0 && this.shownBits?.[element] !== bits[element]) drawing.setBit(device, bits[element]);
    });
    this.shownBits = bits.slice();
    const devices = [...this.flipped].map((element) => network.elements[element]).filter((device) => device >= 0);
    drawing.changed([...new Set(devices)]);
    const emitting = (this.lastRound?.emitting ?? []).map((driver) => network.drivers[driver]);
    const nets = found.nets.flatMap((net, i) => (net.drivers.some((d) => emitting.includes(d)) ? [i] : []));
    drawing.pulse(nets, emitting);
  }

  bitOf(device) {
    const element = this.page.network.elements.indexOf(device);
    return element < 0 ? undefined : this.player.engine.bits[element];
  }

  makePanel() {
    const { sources } = this.page.network;
    const tickers = sources.flatMap((source, i) => (source.kind === "ticker" ? [i] : []));
    this.count = h("input", { type: "number", min: 1, max: 100000, value: 60, class: "count", "aria-label": t("Number of ticks") });
    this.ticker = tickers[0] ?? -1;
    this.runButton = button(t("Run"), () => this.page.withCaution(() => this.run(!this.running)), { class: "main-action" });
    this.clock = h("p", { class: "clock" });
    this.status = h("div", { class: "facts" });
    this.alert = h("p", { class: "alert", role: "alert" });
    this.values = h("div", { class: "values" });
    const speedWords = [
      t("a quarter of real time"),
      t("real time"),
      t("10 times as fast"),
      t("60 times as fast"),
      t("3600 times as fast"),
    ];
    const speeds = SPEEDS.map((speed, i) => [String(speed), speedWords[i]]);
    return h("div", { class: "play" },
      h("div", { class: "row" }, this.runButton, button(t("First state"), () => this.toStart())),
      select(t("Speed"), speeds, String(this.speed), (value) => (this.speed = Number(value))),
      this.clock,
      h("h3", {}, t("Step")),
      h("div", { class: "row" },
        button(t("One round"), () => this.step(() => this.stepRound())),
        button(t("One wave"), () => this.step(() => this.stepWave())),
      ),
      tickers.length > 0 && this.tickRow(tickers),
      checkbox(t("Show every round by itself"), this.byRound, (on) => (this.byRound = on)),
      checkbox(t("Stop after each round"), this.holds, (on) => (this.holds = on)),
      h("h3", {}, t("Sources")),
      sources.length ? h("ul", { class: "sources" }, sources.map((source, i) => this.sourceRow(source, i))) : h("p", {}, t("This machine has no source.")),
      h("h3", {}, t("State")),
      this.alert,
      this.status,
      this.values,
    );
  }

  step(action) {
    this.run(false);
    action();
  }

  tickRow(tickers) {
    const { sources } = this.page.network;
    const choice = tickers.length > 1 &&
      select(t("of"), tickers.map((i) => [String(i), sources[i].name]), String(this.ticker), (value) => (this.ticker = Number(value)));
    const go = button(t("Ticks"), () => {
      const count = Math.min(100000, Math.max(1, Math.floor(Number(this.count.value)) || 1));
      this.count.value = count;
      this.step(() => this.stepTicks(this.ticker, count));
    });
    return h("div", { class: "row" }, this.count, go, choice);
  }

  sourceRow(source, i) {
    const act = button("", () => this.page.withCaution(() => this.act(i)));
    const once = source.kind === "ticker" && button(t("Tick once"), () => this.step(() => this.tickOnce(i)));
    const state = h("span", { class: "state" });
    this.rows ??= [];
    this.rows[i] = { act, state, once };
    const locate = button(tile(source.x, source.y), () => this.page.locate(source.x, source.y), { class: "place", "aria-label": t("Show {name} at {tile}", { name: source.name, tile: tile(source.x, source.y) }) });
    return h("li", {}, h("b", {}, source.name), locate, state, h("span", { class: "row" }, act, once));
  }

  paintPanel() {
    const { network } = this.page;
    this.runButton.textContent = this.running ? t("Stop") : t("Run");
    network.sources.forEach((source, i) => {
      const { act, state, once } = this.rows[i];
      const on = this.player.engine.bits[network.firstSource + i] === 1;
      const [verb, shown] = sourceWords(source, on);
      act.textContent = verb;
      act.setAttribute("aria-label", `${verb}: ${source.name}`);
      state.textContent = shown;
      if (once) {
        once.disabled = !on;
        once.setAttribute("aria-label", t("Tick once: {name}", { name: source.name }));
      }
    });
    this.updateClock();
    this.status.replaceChildren(...this.facts().map((fact) => h("p", {}, fact)));
    const lost = this.lostWords();
    if (this.alert.textContent !== lost) this.alert.textContent = lost;
    this.values.replaceChildren(...this.tables());
  }

  updateClock() {
    const text = t("Time: {time}", { time: clockText(this.player.now / this.player.second) });
    if (this.clock.textContent !== text && this.pace.timer === null) this.clock.textContent = text;
  }

  facts() {
    const { network } = this.page;
    const facts = [tn("{n} wave so far", "{n} waves so far", this.player.numWaves)];
    network.sources.forEach((source, i) => {
      if (source.kind !== "ticker") return;
      facts.push(tn("{name}: {n} tick", "{name}: {n} ticks", this.player.ticks[i], { name: source.name }));
    });
    if (this.busy && this.lastRound) {
      const values = { number: this.lastRound.number, names: this.emitters() };
      const count = this.lastRound.emitting.length;
      facts.push(tn("Round {number} of a wave: {names} emits", "Round {number} of a wave: {names} emit", count, values));
    } else if (this.lastWave) {
      facts.push(tn("The last wave took {n} round", "The last wave took {n} rounds", this.lastWave.rounds));
    }
    return facts;
  }

  lostWords() {
    const names = [...this.player.lost.keys()];
    if (!names.length) return "";
    const listed = names.slice(0, MAX_LISTED_LOST).join(", ") + (names.length > MAX_LISTED_LOST ? " …" : "");
    return t("Pulses were lost at {names}: the machine is corrupted.", { names: listed });
  }

  emitters() {
    const { network, plan } = this.page;
    return this.lastRound.emitting.map((driver) => plan.devices[network.drivers[driver]].name ?? t("delay")).join(", ");
  }

  tables() {
    const { network, plan } = this.page;
    const { bits } = this.player.engine;
    const pixels = network.elements.slice(network.firstPixel, network.firstProbe).map((i) => plan.devices[i].signal);
    const shown = new Set(pixels);
    const inner = network.probes.flatMap((probe, i) => (shown.has(probe.signal) ? [] : [i]));
    const names = inner.map((i) => network.probes[i].signal);
    return [
      table(t("Signals read off their nets"), names, (i) => bits[network.firstProbe + inner[i]]),
      table(t("Outputs shown by pixels"), pixels, (i) => bits[network.firstPixel + i]),
    ].filter(Boolean);
  }
}

/** Seconds as hours, minutes and seconds, with hundredths where there are any: "1:36:00". */
function clockText(seconds) {
  const whole = Math.floor(seconds);
  const two = (number) => String(number).padStart(2, "0");
  const part = Math.floor((seconds - whole) * 100 + 1e-6);
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}${part ? `.${two(part)}` : ""}`;
}

function sourceWords({ kind }, on) {
  if (kind === "ticker") return on ? [t("Stop ticker"), t("running")] : [t("Start ticker"), t("stopped")];
  if (kind === "switch") return [t("Flip"), on ? t("on") : t("off")];
  return [t("Press"), ""];
}

function table(title, names, bit) {
  if (!names.length) return null;
  const rows = words(names).map(([word, positions]) => h("tr", {}, h("th", { scope: "row" }, word), h("td", {}, wordText(positions.map(bit)))));
  return h("table", {}, h("caption", {}, title), h("tbody", {}, rows));
}
