// The 'Play' panel: what starts, stops and steps the machine, its sources, and its state in words.

import { button, checkbox, h, select } from "./dom.js";
import { SPEEDS } from "./machine_player.js";
import { t, tile, tn } from "./text.js";
import { words, wordText } from "./words.js";

/** How many stacks that lost pulses are named before an ellipsis. Guessed. */
const MAX_LISTED_LOST = 8;

export class PlayPanel {
  /** `page` offers model, withCaution(go), locate(x, y); `play` is the machine that is played. */
  constructor(page, play) {
    this.page = page;
    this.play = play;
    this.rows = [];
    this.element = this.build();
  }

  build() {
    const { play } = this;
    const { sources } = this.page.model.network;
    const tickers = sources.flatMap((source, i) => (source.kind === "ticker" ? [i] : []));
    this.count = h("input", { type: "number", min: 1, max: 100000, value: 60, class: "count", "aria-label": t("Number of ticks") });
    this.ticker = tickers[0] ?? -1;
    this.runButton = button(t("Run"), () => this.page.withCaution(() => play.run(!play.running)), { class: "main-action" });
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
      h("div", { class: "row" }, this.runButton, button(t("First state"), () => play.toStart())),
      select(t("Speed"), speeds, String(play.speed), (value) => (play.speed = Number(value))),
      this.clock,
      h("h3", {}, t("Step")),
      h("div", { class: "row" },
        button(t("One round"), () => play.step(() => play.stepRound())),
        button(t("One wave"), () => play.step(() => play.stepWave())),
      ),
      tickers.length > 0 && this.tickRow(tickers),
      checkbox(t("Show every round by itself"), play.byRound, (on) => (play.byRound = on)),
      checkbox(t("Stop after each round"), play.holds, (on) => (play.holds = on)),
      h("h3", {}, t("Sources")),
      sources.length ? h("ul", { class: "sources" }, sources.map((source, i) => this.sourceRow(source, i))) : h("p", {}, t("This machine has no source.")),
      h("h3", {}, t("State")),
      this.alert,
      this.status,
      this.values,
    );
  }

  tickRow(tickers) {
    const { sources } = this.page.model.network;
    const choice = tickers.length > 1 &&
      select(t("of"), tickers.map((i) => [String(i), sources[i].name]), String(this.ticker), (value) => (this.ticker = Number(value)));
    const go = button(t("Ticks"), () => {
      const count = Math.min(100000, Math.max(1, Math.floor(Number(this.count.value)) || 1));
      this.count.value = count;
      this.play.step(() => this.play.stepTicks(this.ticker, count));
    });
    return h("div", { class: "row" }, this.count, go, choice);
  }

  sourceRow(source, i) {
    const act = button("", () => this.page.withCaution(() => this.play.act(i)));
    const once = source.kind === "ticker" && button(t("Tick once"), () => this.play.step(() => this.play.tickOnce(i)));
    const state = h("span", { class: "state" });
    this.rows[i] = { act, state, once };
    const locate = button(tile(source.x, source.y), () => this.page.locate(source.x, source.y), { class: "place", "aria-label": t("Show {name} at {tile}", { name: source.name, tile: tile(source.x, source.y) }) });
    return h("li", {}, h("b", {}, source.name), locate, state, h("span", { class: "row" }, act, once));
  }

  paint() {
    const { network } = this.page.model;
    this.runButton.textContent = this.play.running ? t("Stop") : t("Run");
    network.sources.forEach((source, i) => {
      const { act, state, once } = this.rows[i];
      const on = this.play.player.engine.bits[network.firstSource + i] === 1;
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
    const text = t("Time: {time}", { time: clockText(this.play.player.now / this.play.player.second) });
    if (this.clock.textContent !== text && this.play.pace.timer === null) this.clock.textContent = text;
  }

  facts() {
    const { network } = this.page.model;
    const facts = [tn("{n} wave so far", "{n} waves so far", this.play.player.numWaves)];
    network.sources.forEach((source, i) => {
      if (source.kind !== "ticker") return;
      facts.push(tn("{name}: {n} tick", "{name}: {n} ticks", this.play.player.ticks[i], { name: source.name }));
    });
    if (this.play.busy && this.play.lastRound) {
      const values = { number: this.play.lastRound.number, names: this.emitters() };
      const count = this.play.lastRound.emitting.length;
      facts.push(tn("Round {number} of a wave: {names} emits", "Round {number} of a wave: {names} emit", count, values));
    } else if (this.play.lastWave) {
      facts.push(tn("The last wave took {n} round", "The last wave took {n} rounds", this.play.lastWave.rounds));
    }
    return facts;
  }

  lostWords() {
    const names = [...this.play.player.lost.keys()];
    if (!names.length) return "";
    const listed = names.slice(0, MAX_LISTED_LOST).join(", ") + (names.length > MAX_LISTED_LOST ? " …" : "");
    return t("Pulses were lost at {names}: the machine is corrupted.", { names: listed });
  }

  emitters() {
    const { network, plan } = this.page.model;
    return this.play.lastRound.emitting.map((driver) => plan.devices[network.drivers[driver]].name ?? t("delay")).join(", ");
  }

  tables() {
    const { network, plan } = this.page.model;
    const { bits } = this.play.player.engine;
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
