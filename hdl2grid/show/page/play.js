// Playing the machine: acts on its sources, steps rounds, waves and ticks, runs in time, and paints the drawing.

import { Pace } from "./pace.js";
import { PlayPanel } from "./play_panel.js";
import { easySpeed, Player } from "./machine_player.js";
import { t } from "./text.js";

/** How long a frame may play waves, in ms: a frame at 60 Hz has 16.7. Guessed. */
const BUSY_MS = 12;

export class Play {
  /** `page` offers model, drawing, isCalm(), say(text), changed(). */
  constructor(page) {
    this.page = page;
    this.speed = easySpeed(page.model.network.sources);
    this.byRound = !page.isCalm();
    this.holds = false;
    this.running = false;
    this.pace = new Pace(() => this.paint(), page.isCalm);
    this.restart();
    this.panel = new PlayPanel(page, this);
  }

  restart() {
    this.player = new Player(this.page.model.network);
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
    const { kind, name } = this.page.model.network.sources[source];
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

  /** Stops running, then does one step. */
  step(action) {
    this.run(false);
    action();
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
    else this.panel.updateClock();
  }

  // What is shown.

  paint() {
    if (this.page.model.mode !== "play") return;
    this.paintDrawing();
    this.panel.paint();
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
    const { network, found } = this.page.model;
    const { drawing } = this.page;
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
    const element = this.page.model.network.elements.indexOf(device);
    return element < 0 ? undefined : this.player.engine.bits[element];
  }
}
