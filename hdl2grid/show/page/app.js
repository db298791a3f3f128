// The page as it is seen: one drawing, three things to do with it. model.js holds what is chosen and shown.

import { button, checkbox, h, icon, s } from "./dom.js";
import { showHelp, withCaution } from "./dialogs.js";
import { Drawing } from "./drawing.js";
import { follow, FOLLOWER_HASH, Leader } from "./follow.js";
import { inspectPanel, wireSample } from "./inspect.js";
import { Lay } from "./lay.js";
import { MODES, PageModel } from "./model.js";
import { Play } from "./play.js";
import { Search } from "./search.js";
import { applyTheme, showSettings } from "./settings.js";
import { load } from "./store.js";
import { setCatalogue, t, tile } from "./text.js";
import { View } from "./view.js";

class Page {
  constructor(data) {
    this.model = new PageModel(data);
    this.isFollower = window.location.hash === FOLLOWER_HASH && window.opener !== null;
    this.leader = this.isFollower ? null : new Leader(data.hash, () => this.snapshot());
  }

  // Building.

  /** Builds everything in the language that is chosen. */
  build() {
    const { languages, ownLanguage, catalogues, plan, board } = this.model;
    const kept = load("language");
    this.language = languages.some(([tag]) => tag === kept) ? kept : ownLanguage;
    setCatalogue(catalogues[this.language]);
    document.documentElement.lang = this.language;
    document.title = plan.name;
    document.body.className = this.isFollower ? "alone" : "";
    const player = this.play?.player;
    this.play?.run(false);
    document.getElementById("page")?.remove();
    const stage = this.makeStage();
    this.drawing = new Drawing(this.svg, this.model.colours);
    this.play = new Play(this);
    if (player) this.play.player = player;
    this.lay = new Lay(this);
    const root = this.isFollower ? this.aloneRoot(stage) : this.fullRoot(stage);
    document.body.prepend(root);
    this.view.board = [board.width, board.height];
    this.setMode(this.model.mode);
  }

  fullRoot(stage) {
    this.panel = h("div", { class: "panel-body", id: "panel", role: "tabpanel", tabindex: 0 });
    this.search = new Search(this, (entry) => this.chooseEntry(entry));
    const header = h("header", {},
      h("h1", {}, this.model.plan.name),
      this.makeTabs(),
      this.search.element,
      button(t("Second window"), () => this.openSecond(), { class: "quiet second" }),
      button(t("Settings"), () => showSettings(this, () => this.build()), { class: "quiet" }),
      button(t("Help"), showHelp, { class: "quiet" }),
    );
    this.panelTitle = h("h2", { class: "unseen" });
    const aside = h("aside", { "aria-label": t("Panel") }, this.panelTitle, this.panel);
    return h("div", { id: "page" }, header, h("main", {}, h("div", { class: "canvas" }, this.makeToolbar(), stage, this.makeStatus()), aside));
  }

  aloneRoot(stage) {
    const note = h("h1", { class: "follows" }, t("{name}: this window follows the first", { name: this.model.plan.name }));
    return h("div", { id: "page" }, h("main", {}, note, h("div", { class: "canvas" }, this.makeToolbar(), stage, this.makeStatus())));
  }

  makeTabs() {
    const names = { look: t("Look"), play: t("Play"), lay: t("Lay") };
    this.tabs = MODES.map((mode) => h("button", { type: "button", role: "tab", id: `tab-${mode}`, "aria-controls": "panel", onclick: () => this.setMode(mode), onkeydown: (event) => this.tabKey(event, mode) }, names[mode]));
    return h("div", { class: "tabs", role: "tablist", "aria-label": t("What to do") }, this.tabs);
  }

  tabKey(event, mode) {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const next = this.model.modeAfter(mode, step);
    this.setMode(next);
    this.tabs[MODES.indexOf(next)].focus();
  }

  makeToolbar() {
    const move = (dx, dy) => () => this.view.pan(dx * 4, dy * 4);
    const tools = [
      button(t("Zoom in"), () => this.view.zoom(1.3), { sign: icon("M10 4V16M4 10H16") }),
      button(t("Zoom out"), () => this.view.zoom(1 / 1.3), { sign: icon("M4 10H16") }),
      button(t("Show all"), () => this.view.fit(), { sign: icon("M4 8V4H8M12 4H16V8M16 12V16H12M8 16H4V12") }),
      button(t("Move left"), move(-1, 0), { sign: icon("M12 4L6 10L12 16") }),
      button(t("Move right"), move(1, 0), { sign: icon("M8 4L14 10L8 16") }),
      button(t("Move up"), move(0, -1), { sign: icon("M4 12L10 6L16 12") }),
      button(t("Move down"), move(0, 1), { sign: icon("M4 8L10 14L16 8") }),
    ];
    const wires = this.model.colours.map((colour, i) =>
      checkbox(colour.code ? `${colour.name} (${colour.code})` : colour.name, this.model.shown[i], (on) => this.showColour(i, on), wireSample(this, i)),
    );
    return h("div", { class: "toolbar" }, h("div", { class: "tools", role: "group", "aria-label": t("View") }, tools), h("fieldset", { class: "wires-shown" }, h("legend", {}, t("Wires")), wires));
  }

  makeStage() {
    this.svg = s("svg", { class: "drawing", "aria-hidden": "true" });
    const rulers = { x: s("svg", { class: "ruler x", "aria-hidden": "true" }), y: s("svg", { class: "ruler y", "aria-hidden": "true" }) };
    this.view = new View(this.svg, rulers, {
      hover: (...at) => this.hover(...at),
      leave: () => this.unhover(),
      click: (...at) => this.click(...at),
      moved: () => {},
    });
    this.stage = h("div", { class: "stage", tabindex: 0, role: "application", "aria-label": t("Drawing of {name}", { name: this.model.plan.name }), "aria-describedby": "drawing-keys", onkeydown: (event) => this.key(event) }, h("span", { class: "corner", "aria-hidden": "true" }), rulers.x, rulers.y, this.svg);
    return this.stage;
  }

  makeStatus() {
    this.place = h("b", {});
    this.under = h("span", {});
    this.live = h("p", { class: "unseen", role: "status" });
    return h("div", { class: "status" }, h("p", {}, this.place, " ", this.under), this.live, h("p", { class: "unseen", id: "drawing-keys" }, t("Arrow keys move over the tiles, Enter chooses. Help lists all keys.")));
  }

  // Modes.

  setMode(mode) {
    const { model } = this;
    if (model.mode === "play" && mode !== "play") this.play.run(false);
    const wasLaying = model.mode === "lay" || !this.drawing.board;
    model.setMode(mode);
    document.body.dataset.mode = mode;
    this.tabs?.forEach((tab, i) => {
      const isHere = MODES[i] === mode;
      tab.setAttribute("aria-selected", String(isHere));
      tab.tabIndex = isHere ? 0 : -1;
    });
    this.panel?.setAttribute("aria-labelledby", `tab-${mode}`);
    if (mode === "lay") {
      this.lay.show();
    } else if (wasLaying) {
      model.showPlan();
      this.drawing.draw(model.board, model.found);
      this.play.shownBits = null;
      this.play.paintDrawing();
      this.view.fit();
    }
    if (mode === "lay" && !this.lay.steps.length) this.drawing.draw(model.board, model.found);
    this.showPanel();
    if (mode === "play") this.play.pace.request();
    this.restoreHighlight();
    this.changed();
  }

  showPanel() {
    if (!this.panel) return;
    const { mode, chosen } = this.model;
    const content = { look: () => inspectPanel(this, chosen), play: () => this.play.panel.element, lay: () => this.lay.panel }[mode]();
    this.panelTitle.textContent = this.tabs[MODES.indexOf(mode)].textContent;
    if (this.panel.firstChild !== content) this.panel.replaceChildren(content);
  }

  bitOf(device) {
    return this.model.mode === "lay" ? undefined : this.play?.bitOf(device);
  }

  // Choosing and highlighting.

  choose(chosen) {
    this.model.chosen = chosen;
    if (this.model.mode === "look") this.showPanel();
    this.restoreHighlight();
    this.changed();
  }

  chooseEntry(entry) {
    const [x, y] = entry.at;
    if (this.model.mode === "lay") this.setMode("look");
    this.locate(x, y, entry.thing.net !== undefined ? { net: entry.thing.net } : null);
    this.say(`${entry.text} ${tile(x, y)}`);
  }

  /** Moves the cursor to a tile, shows it, and chooses it (or a net that is there). */
  locate(x, y, chosen = null) {
    this.setCursor(x, y);
    this.choose(chosen ?? { x, y });
  }

  restoreHighlight() {
    const { chosen, cursor } = this.model;
    this.highlight(chosen);
    this.drawing.svg.classList.toggle("has-choice", chosen !== null);
    this.drawing.cursor(cursor);
  }

  highlight(target) {
    const { nets, devices } = this.model.marksOf(target);
    this.drawing.highlight(nets, devices);
  }

  netText(net) {
    const { naming } = this.model.scene;
    return [naming.netWords(net), naming.netReach(net)];
  }

  tileText(x, y) {
    return this.model.scene.naming.tileWords(x, y, (i) => this.bitOf(i));
  }

  hover(x, y, fx, fy) {
    const target = this.model.targetAt(x, y, fx, fy);
    if (!target) {
      this.unhover();
      return;
    }
    this.place.textContent = tile(x, y);
    this.under.textContent = target.net !== undefined ? this.netText(target.net).join(" · ") : this.tileText(x, y);
    if (!this.model.hover(target)) return;
    if (this.model.isThing(target)) this.highlight(target);
    else this.restoreHighlight();
  }

  unhover() {
    if (!this.model.hover(null)) return;
    this.place.textContent = this.under.textContent = "";
    this.restoreHighlight();
  }

  click(x, y, fx, fy) {
    const target = this.model.targetAt(x, y, fx, fy);
    if (target) this.model.cursor = { x, y };
    if (!target || target.net !== undefined || !this.actOn(x, y)) this.choose(target);
  }

  /** While playing: presses, flips, starts or stops the source on a tile; false where there is none. */
  actOn(x, y) {
    if (this.model.mode !== "play" || this.isFollower) return false;
    const source = this.model.sourceAt(x, y);
    if (source < 0) return false;
    this.withCaution(() => this.play.act(source));
    return true;
  }

  withCaution(go) {
    withCaution(go);
  }

  // The keyboard.

  setCursor(x, y) {
    this.model.moveCursor(x, y);
    const { cursor } = this.model;
    this.view.reveal(cursor.x, cursor.y);
    this.drawing.cursor(cursor);
  }

  key(event) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const actions = {
      "+": () => this.view.zoom(1.3),
      "=": () => this.view.zoom(1.3),
      "-": () => this.view.zoom(1 / 1.3),
      0: () => this.view.fit(),
      Enter: () => this.chooseAtCursor(),
      " ": () => this.chooseAtCursor(),
      n: () => this.nextNet(),
      N: () => this.nextNet(),
      Escape: () => this.choose(null),
    };
    if (event.altKey || event.metaKey || (event.ctrlKey && !way)) return;
    if (way) this.arrow(way, event);
    else if (actions[event.key]) actions[event.key]();
    else return;
    event.preventDefault();
  }

  arrow([dx, dy], event) {
    if (event.ctrlKey) {
      this.view.pan(dx * 3, dy * 3);
      return;
    }
    const far = event.shiftKey ? 5 : 1;
    const [middleX, middleY] = this.view.centre.map(Math.round);
    const from = this.model.cursor ?? { x: middleX - dx * far, y: middleY - dy * far };
    this.setCursor(from.x + dx * far, from.y + dy * far);
    const { x, y } = this.model.cursor;
    this.highlight({ x, y });
    const words = this.tileText(x, y);
    this.place.textContent = tile(x, y);
    this.under.textContent = words;
    this.say(`${tile(x, y)}: ${words}`);
  }

  chooseAtCursor() {
    if (!this.model.cursor) return;
    const { x, y } = this.model.cursor;
    if (!this.actOn(x, y)) this.choose({ x, y });
  }

  nextNet() {
    if (!this.model.cursor) return;
    const { x, y } = this.model.cursor;
    const net = this.model.nextNet();
    if (net < 0) {
      this.say(t("There is no wire on {tile}", { tile: tile(x, y) }));
      return;
    }
    this.choose({ net });
    this.say(this.netText(net).join(", "));
  }

  // What else is shown, and to whom.

  showColour(colour, on) {
    this.model.shown[colour] = on;
    this.drawing.showColours(this.model.shown);
    this.changed();
  }

  say(text) {
    this.live.textContent = text;
  }

  isCalm() {
    return window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  }

  openSecond() {
    if (!this.leader.open()) this.say(t("The browser has blocked the second window."));
  }

  snapshot() {
    const { theme } = document.documentElement.dataset;
    return { ...this.model.snapshot(), theme, play: this.play.snapshot(), lay: this.lay.snapshot() };
  }

  changed() {
    this.leader?.changed();
  }

  /** In a second window: shows what the first one shows. */
  follow({ mode, chosen, shown, theme, play, lay }) {
    document.documentElement.dataset.theme = theme;
    const isNewMode = mode !== this.model.mode;
    const isNewStep = mode === "lay" && lay.step !== this.lay.at;
    this.lay.at = lay.step;
    this.model.chosen = chosen;
    if (isNewMode) this.setMode(mode);
    else if (isNewStep) this.lay.apply(lay);
    if (mode !== "lay") this.play.apply(play);
    this.model.shown = shown;
    this.drawing.showColours(shown);
    this.restoreHighlight();
  }

  /** What goes on paper: the whole board, or what the step that is being laid shows. */
  showPrinted() {
    const { board, mode } = this.model;
    const whole = [0, 0, board.width - 1, board.height - 1];
    const area = (mode === "lay" && this.view.fitted) || whole;
    this.drawing.showPrinted(area);
    this.view.showPrinted(area);
  }
}

/** Starts the page on the data that stands in it. */
export function start() {
  applyTheme();
  const page = new Page(JSON.parse(document.getElementById("data").textContent));
  page.build();
  window.addEventListener("beforeprint", () => page.showPrinted());
  window.addEventListener("afterprint", () => page.view.apply());
  if (page.isFollower) follow(page.model.hash, (snapshot) => page.follow(snapshot));
  document.documentElement.dataset.ready = "true";
}

start();
