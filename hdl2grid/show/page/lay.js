// Laying the machine: the guide's steps beside the drawing, ticked off, and kept under the plan's hash.

import { button, checkbox, h } from "./dom.js";
import { deviceWords } from "./naming.js";
import { Progress } from "./site.js";
import { load, save } from "./store.js";
import { t, tile, tn } from "./text.js";
import { strokeTiles } from "./tiles.js";

/** Older wire within so many tiles is marked, as CLEAR in guide/building_site.py. Guessed. */
const KEEP_CLEAR_REACH = 2;

/** The smallest part of the board that is shown, in tiles. Guessed. */
const [LEAST_WIDE, LEAST_HIGH] = [12, 8];

/**
 * The guide's steps in one row: {section, number (from 1 through the whole guide), label (as in all other editions:
 * 2.4 is the fourth step of the second section), text, actions, expect}.
 */
export function stepsOf(guide) {
  const steps = guide.sections.flatMap((section, i) =>
    section.steps.map((step, k) => ({ ...step, section: i, label: `${i + 1}.${k + 1}` })));
  return steps.map((step, i) => ({ ...step, number: i + 1 }));
}

/** What one action asks of the hands. */
export function actionWords(action) {
  const { x, y, colour, stroke, area, times = 1 } = action;
  switch (action.do) {
    case "place":
      return t("Place {device} at {tile}", { device: placedWords(action), tile: tile(x, y) });
    case "remove":
      return t("Remove what stands at {tile}", { tile: tile(x, y) });
    case "backdrop":
      return t("Lay backdrop from {from} to {to}", { from: tile(area[0], area[1]), to: tile(area[2], area[3]) });
    case "wire":
      return t("Lay {stroke}", { stroke: strokeWords(colour, stroke) });
    case "unwire":
      return t("Take up {stroke}", { stroke: strokeWords(colour, stroke) });
    case "press":
      if (action.hand === "flip") return tn("Flip {tile} once", "Flip {tile} {n} times", times, { tile: tile(x, y) });
      if (action.hand === "start") return t("Start the ticker at {tile}", { tile: tile(x, y) });
      if (action.hand === "stop") return t("Stop the ticker at {tile}", { tile: tile(x, y) });
      return tn("Press {tile} once", "Press {tile} {n} times", times, { tile: tile(x, y) });
    default:
      return tn("Let {tile} tick once", "Let {tile} tick {n} times", times, { tile: tile(x, y) });
  }
}

/** A device as it is when it has just been placed: a ticker stands still, whatever the plan says. */
function placedWords(action) {
  if (action.kind === "pixel") return t("pixel {signal}", action);
  return action.kind === "ticker" ? t("ticker {name}", action) : deviceWords(action);
}

function strokeWords(colour, [x0, y0, x1, y1]) {
  const length = Math.abs(x1 - x0) + Math.abs(y1 - y0) + 1;
  const values = { colour, from: tile(x0, y0), to: tile(x1, y1) };
  return tn("{colour} at {from}, {n} tile", "{colour} {from} to {to}, {n} tiles", length, values);
}

/** What the eyes must see, one line for what is alike: "toggles that show 1: (3,4) (5,6)". */
export function expectationLines(expect) {
  const tilesOf = (test) => expect.filter(test).map(({ x, y }) => tile(x, y));
  const groups = [
    [tilesOf((e) => e.see === "pixel" && e.lit), (n, v) => tn("lit pixel: {tiles}", "lit pixels: {tiles}", n, v)],
    [tilesOf((e) => e.see === "pixel" && !e.lit), (n, v) => tn("dark pixel: {tiles}", "dark pixels: {tiles}", n, v)],
    [tilesOf((e) => e.see === "toggle" && e.bit === 1), (n, v) => tn("toggle at 1: {tiles}", "toggles at 1: {tiles}", n, v)],
    [tilesOf((e) => e.see === "toggle" && e.bit === 0), (n, v) => tn("toggle at 0: {tiles}", "toggles at 0: {tiles}", n, v)],
  ].filter(([tiles]) => tiles.length);
  const lines = groups.map(([tiles, words]) => words(tiles.length, { tiles: tiles.join(" ") }));
  const read = expect.filter((e) => e.see === "digits").map(({ text }) => t("the panel shows {text}", { text }));
  return [...lines, ...read];
}

/** The likeliest mistakes of a check: what they look like, and their cure. */
function mistakesList(mistakes, lang) {
  const rows = mistakes.map(({ what, looks, cure }) => [h("dt", { lang }, looks), h("dd", { lang }, `${what}: ${cure}`)]);
  return h("details", { class: "mistakes" }, h("summary", {}, t("If you see something else")), h("dl", {}, rows));
}

export class Lay {
  /** `page` offers model, drawing, view, say(text), changed(). */
  constructor(page) {
    this.page = page;
    const { plan, guide, laying, hash } = page.model;
    this.steps = guide ? stepsOf(guide) : [];
    this.progress = new Progress(plan, laying, this.steps);
    const kept = load(`progress:${hash}`) ?? {};
    this.done = new Set((kept.done ?? []).filter((i) => i < this.steps.length));
    this.at = Math.min(Math.max(0, kept.at ?? 0), Math.max(0, this.steps.length - 1));
    this.kept = true;
    this.closeBy = [];
    this.panel = h("div", { class: "lay" });
    this.message = h("p", { class: "note", role: "status" });
  }

  get step() {
    return this.steps[this.at];
  }

  keep() {
    this.kept = save(`progress:${this.page.model.hash}`, { done: [...this.done].sort((a, b) => a - b), at: this.at });
  }

  go(index) {
    this.at = Math.min(Math.max(0, index), this.steps.length - 1);
    this.keep();
    this.show();
    this.page.changed();
  }

  tick(done) {
    if (done) this.done.add(this.at);
    else this.done.delete(this.at);
    this.keep();
    this.showPanel();
    this.page.changed();
  }

  doneAndNext() {
    this.done.add(this.at);
    this.page.say(t("Step {number} is done", { number: this.step.label }));
    this.go(this.at + 1);
  }

  show() {
    if (this.steps.length) this.showDrawing();
    this.showPanel();
  }

  // The drawing of a step.

  showDrawing() {
    const { drawing, view } = this.page;
    const before = this.progress.after(this.at);
    const after = this.progress.after(this.at + 1);
    const found = after.extraction();
    const isNew = (device) => this.step.actions.some((a) => a.do === "place" && a.x === device.x && a.y === device.y);
    this.page.model.showScene(after, found);
    drawing.draw(after, found, { net: () => "old", device: (i) => (isNew(after.devices[i]) ? "new" : "old") });
    const strokes = (verb) => this.step.actions
      .filter((action) => action.do === verb)
      .map(({ colour, stroke }) => ({ colour: after.colours.indexOf(colour), stroke }));
    const laid = strokes("wire");
    drawing.fresh(laid, strokes("unwire"));
    const seen = this.step.expect.filter((expectation) => expectation.see !== "digits");
    this.closeBy = keepClear(before, found, laid);
    const touched = this.step.actions.filter((action) => ["press", "tick", "remove"].includes(action.do));
    drawing.layingMarks(this.closeBy, seen, touched);
    view.fit(areaOf(this.step, after));
  }

  snapshot() {
    return { step: this.at };
  }

  apply({ step }) {
    this.at = step;
    if (this.steps.length) this.showDrawing();
  }

  // The panel.

  showPanel() {
    if (!this.steps.length) {
      const how = t("There is no guide in this page. `hdl2grid guide PLAN` writes one, and a page that has it.");
      this.panel.replaceChildren(h("p", {}, how));
      return;
    }
    const focused = this.panel.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    const open = button(t("First step that is not done"), () => this.go(this.firstOpen()), { class: "quiet", "data-key": "open" });
    this.panel.replaceChildren(this.chapterList(), this.overall(), this.card(), open, this.keeping());
    if (focused) this.panel.querySelector(`[data-key="${focused}"]`)?.focus();
  }

  chapterList() {
    const { sections } = this.page.model.guide;
    const chapters = sections.map((section, i) => {
      const own = this.steps.flatMap((step, index) => (step.section === i ? [index] : []));
      const done = own.filter((index) => this.done.has(index)).length;
      const text = `${i + 1}. ${section.title} (${done}/${own.length})`;
      return h("option", { value: i, lang: this.page.model.guideLanguage, selected: this.step.section === i, disabled: own.length === 0 }, text);
    });
    const choose = (event) => this.go(this.steps.findIndex((step) => step.section === Number(event.target.value)));
    return h("label", { class: "field" }, h("span", {}, t("Chapter")), h("select", { onchange: choose, "data-key": "chapter" }, chapters));
  }

  overall() {
    const values = { done: this.done.size, all: this.steps.length };
    const text = t("{done} of {all} steps are done", values);
    return h("div", { class: "overall" }, h("progress", { max: this.steps.length, value: this.done.size, "aria-label": text }), h("span", {}, text));
  }

  card() {
    const { step } = this;
    const section = this.page.model.guide.sections[step.section];
    const isFirst = this.steps[this.at - 1]?.section !== step.section;
    const lang = this.page.model.guideLanguage;
    return h("div", { class: "card step" },
      isFirst && section.why && h("p", { class: "why", lang }, section.why),
      h("h3", {}, t("Step {number}", { number: step.label }), step.title && [" ", h("span", { lang }, step.title)]),
      this.moves(),
      step.like && h("p", { class: "note", lang }, step.like),
      step.actions.length === 0 && h("p", { lang }, step.text),
      h("ol", { class: "actions" }, step.actions.map((action) => h("li", {}, actionWords(action)))),
      this.closeBy.length > 0 &&
        h("p", { class: "note" }, t("× marks older wire of the same colour close by: keep clear of it.")),
      step.expect.length > 0 && [
        h("h4", {}, t("You must see")),
        h("ul", { class: "expect" }, expectationLines(step.expect).map((line) => h("li", {}, line))),
      ],
      step.mistakes && mistakesList(step.mistakes, lang),
      step.actions.length > 0 && h("p", { class: "note", lang }, step.text),
    );
  }

  /** The box to tick, and the ways to the steps before and after. */
  moves() {
    const isLast = this.at === this.steps.length - 1;
    return [
      h("div", { class: "row" },
        button(t("Back"), () => this.go(this.at - 1), { disabled: this.at === 0, "data-key": "back" }),
        button(isLast ? t("Done") : t("Done, next step"), () => this.doneAndNext(), { class: "main-action", "data-key": "next" }),
        button(t("Skip"), () => this.go(this.at + 1), { disabled: isLast, "data-key": "skip" }),
      ),
      checkbox(t("This step is done"), this.done.has(this.at), (on) => this.tick(on)),
    ];
  }

  firstOpen() {
    const open = this.steps.findIndex((_, i) => !this.done.has(i));
    return open < 0 ? this.steps.length - 1 : open;
  }

  keeping() {
    const file = h("input", { type: "file", accept: ".json,application/json", class: "file", onchange: (event) => this.importFrom(event.target.files[0]) });
    return h("details", { class: "keeping" },
      h("summary", {}, t("Keep the progress")),
      h("p", {}, this.kept
        ? t("The ticks are kept in this browser, for this plan only.")
        : t("This browser keeps nothing for this page. Export the progress before you close it.")),
      h("div", { class: "row" }, button(t("Export"), () => this.exportFile(), { "data-key": "export" }), button(t("Clear all ticks"), () => this.clearTicks(), { "data-key": "clear" })),
      h("label", { class: "field" }, h("span", {}, t("Import a file that was exported here")), file),
      this.message,
    );
  }

  tell(text) {
    this.message.textContent = text;
  }

  clearTicks() {
    this.done.clear();
    this.keep();
    this.go(0);
  }

  /** The progress as a text that `importText` reads. */
  exportText() {
    const { plan, hash } = this.page.model;
    const done = [...this.done].sort((a, b) => a - b).map((i) => this.steps[i].number);
    return `${JSON.stringify({ format: "hdl2grid progress", version: 1, plan: plan.name, plan_sha256: hash, done }, null, 2)}\n`;
  }

  exportFile() {
    const url = URL.createObjectURL(new Blob([this.exportText()], { type: "application/json" }));
    h("a", { href: url, download: `${this.page.model.plan.name}-progress.json` }).click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
    this.tell(t("Exported"));
  }

  async importFrom(file) {
    if (file) this.importText(await file.text());
  }

  importText(text) {
    let data = null;
    try {
      data = JSON.parse(text);
    } catch {
      data = null;
    }
    if (data?.format !== "hdl2grid progress" || data.version !== 1 || !Array.isArray(data.done)) {
      this.tell(t("This file holds no progress that was exported here."));
    } else if (data.plan_sha256 !== this.page.model.hash) {
      this.tell(t("This progress belongs to another plan ({name}) and was not taken over.", { name: String(data.plan).slice(0, 60) }));
    } else {
      const index = new Map(this.steps.map((step, i) => [step.number, i]));
      this.done = new Set(data.done.map((number) => index.get(number)).filter((i) => i !== undefined));
      this.keep();
      this.go(this.firstOpen());
      this.tell(tn("Imported: {n} step is done", "Imported: {n} steps are done", this.done.size));
    }
  }
}

/** Tiles of older wire of the same colour within two tiles of new strokes, that the strokes must not touch. */
export function keepClear(before, found, strokes) {
  const marked = new Set();
  for (const { colour, stroke } of strokes) {
    const own = new Set(strokeTiles(stroke).flatMap(([x, y]) => netsOf(found, x, y, colour)));
    for (const [x, y] of strokeTiles(stroke)) {
      for (let dx = -KEEP_CLEAR_REACH; dx <= KEEP_CLEAR_REACH; dx++) {
        for (let dy = -KEEP_CLEAR_REACH; dy <= KEEP_CLEAR_REACH; dy++) {
          const [nx, ny] = [x + dx, y + dy];
          if (nx < 0 || nx >= before.width || !before.tiles[colour].has(ny * before.width + nx)) continue;
          if (netsOf(found, nx, ny, colour).some((net) => !own.has(net))) marked.add(ny * before.width + nx);
        }
      }
    }
  }
  return [...marked].sort((a, b) => a - b).map((at) => [at % before.width, Math.floor(at / before.width)]);
}

function netsOf(found, x, y, colour) {
  return found.netsAt(x, y).filter((place) => place.colour === colour).map((place) => place.net);
}

/** The part of the board that shows a step: all that it touches, with a margin. */
export function areaOf(step, { width, height }) {
  const corners = [
    ...step.actions.flatMap(({ x, y, stroke, area }) => {
      const four = stroke ?? area;
      return four ? [[four[0], four[1]], [four[2], four[3]]] : [[x, y]];
    }),
    ...step.expect.filter((e) => e.see !== "digits").map(({ x, y }) => [x, y]),
  ];
  if (!corners.length) return [0, 0, width - 1, height - 1];
  const range = (values, size, least) => {
    let [low, high] = [Math.min(...values) - 2, Math.max(...values) + 2];
    while (high - low + 1 < least) [low, high] = [low - 1, high + 1];
    return [Math.max(0, low), Math.min(size - 1, high)];
  };
  const [x0, x1] = range(corners.map(([x]) => x), width, LEAST_WIDE);
  const [y0, y1] = range(corners.map(([, y]) => y), height, LEAST_HIGH);
  return [x0, y0, x1, y1];
}
