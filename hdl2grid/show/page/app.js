// The page: one drawing, three things to do with it.

import { button, checkbox, h, icon, s } from "./dom.js";
import { showHelp, withCaution } from "./dialogs.js";
import { Drawing } from "./drawing.js";
import { follow, FOLLOWER_HASH, Leader } from "./follow.js";
import { inspectPanel, wireSample } from "./inspect.js";
import { Lay } from "./lay.js";
import { Naming } from "./naming.js";
import { boardOf, networkOf } from "./network.js";
import { Play } from "./play.js";
import { Search } from "./search.js";
import { applyTheme, showSettings } from "./settings.js";
import { load } from "./store.js";
import { setCatalogue, t, tile } from "./text.js";
import { extract } from "./tiles.js";
import { View } from "./view.js";
import { lane, TILE } from "./wires.js";

const WIRE_REACH = 0.11;
const MODES = ["look", "play", "lay"];

class Page {
  constructor(data) {
    Object.assign(this, data);
    this.board = { ...boardOf(this.plan), backdrop: this.plan.backdrop ?? [] };
    this.found = extract(this.board);
    this.network = networkOf(this.board, this.found);
    this.naming = new Naming(this.board, this.found, this.origin);
    this.scene = { board: this.board, found: this.found, naming: this.naming };
    this.chosen = null;
    this.cursor = null;
    this.shown = this.plan.colours.map(() => true);
    this.isFollower = window.location.hash === FOLLOWER_HASH && window.opener !== null;
    this.mode = "look";
    this.leader = this.isFollower ? null : new Leader(this.hash, () => this.snapshot());
  }

  // Building.

  /** Builds everything in the language that is chosen. */
  build() {
    this.language = load("language") ?? this.ownLanguage;
    if (!this.languages.some(([tag]) => tag === this.language)) this.language = this.ownLanguage;
    setCatalogue(this.catalogues[this.language]);
    document.documentElement.lang = this.language;
    document.title = this.plan.name;
    document.body.className = this.isFollower ? "alone" : "";
    const player = this.play?.player;
    this.play?.run(false);
    document.getElementById("page")?.remove();
    const stage = this.makeStage();
    this.drawing = new Drawing(this.svg, this.colours);
    this.play = new Play(this);
    if (player) this.play.player = player;
    this.lay = new Lay(this);
    const root = this.isFollower ? this.aloneRoot(stage) : this.fullRoot(stage);
    document.body.prepend(root);
    this.view.board = [this.board.width, this.board.height];
    this.setMode(this.mode);
  }

  fullRoot(stage) {
    this.panel = h("div", { class: "panel-body", id: "panel", role: "tabpanel", tabindex: 0 });
    this.search = new Search(this, (entry) => this.chooseEntry(entry));
    const header = h("header", {},
      h("h1", {}, this.plan.name),
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
    const note = h("h1", { class: "follows" }, t("{name}: this window follows the first", { name: this.plan.name }));
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
    const next = (MODES.indexOf(mode) + step + MODES.length) % MODES.length;
    this.setMode(MODES[next]);
    this.tabs[next].focus();
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
    const wires = this.colours.map((colour, i) =>
      checkbox(colour.code ? `${colour.name} (${colour.code})` : colour.name, this.shown[i], (on) => this.showColour(i, on), wireSample(this, i)),
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
    this.stage = h("div", { class: "stage", tabindex: 0, role: "application", "aria-label": t("Drawing of {name}", { name: this.plan.name }), "aria-describedby": "drawing-keys", onkeydown: (event) => this.key(event) }, h("span", { class: "corner", "aria-hidden": "true" }), rulers.x, rulers.y, this.svg);
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
    if (this.mode === "play" && mode !== "play") this.play.run(false);
    const wasLaying = this.mode === "lay" || !this.drawing.board;
    this.mode = mode;
    document.body.dataset.mode = mode;
    this.tabs?.forEach((tab, i) => {
      const isHere = MODES[i] === mode;
      tab.setAttribute("aria-selected", String(isHere));
      tab.tabIndex = isHere ? 0 : -1;
    });
    this.panel?.setAttribute("aria-labelledby", `tab-${mode}`);
    if (mode === "lay") {
      this.chosen = null;
      this.lay.show();
    } else if (wasLaying) {
      this.scene = { board: this.board, found: this.found, naming: this.naming };
      this.drawing.draw(this.board, this.found);
      this.play.shownBits = null;
      this.play.paintDrawing();
      this.view.fit();
    }
    if (mode === "lay" && !this.lay.steps.length) this.drawing.draw(this.board, this.found);
    this.showPanel();
    if (mode === "play") this.play.pace.request();
    this.restoreHighlight();
    this.changed();
  }

  showPanel() {
    if (!this.panel) return;
    const content = { look: () => inspectPanel(this, this.chosen), play: () => this.play.panel, lay: () => this.lay.panel }[this.mode]();
    this.panelTitle.textContent = this.tabs[MODES.indexOf(this.mode)].textContent;
    if (this.panel.firstChild !== content) this.panel.replaceChildren(content);
  }

  /** The board that is drawn while a machine is laid, in place of the plan's own. */
  showScene(board, found) {
    this.scene = { board, found, naming: new Naming(board, found, this.origin) };
  }

  bitOf(device) {
    return this.mode === "lay" ? undefined : this.play?.bitOf(device);
  }

  // Choosing and highlighting.

  choose(chosen) {
    this.chosen = chosen;
    if (this.mode === "look") this.showPanel();
    this.restoreHighlight();
    this.changed();
  }

  chooseEntry(entry) {
    const [x, y] = entry.at;
    if (this.mode === "lay") this.setMode("look");
    this.locate(x, y, entry.thing.net !== undefined ? { net: entry.thing.net } : null);
    this.say(`${entry.text} ${tile(x, y)}`);
  }

  /** Moves the cursor to a tile, shows it, and chooses it (or a net that is there). */
  locate(x, y, chosen = null) {
    this.setCursor(x, y);
    this.choose(chosen ?? { x, y });
  }

  restoreHighlight() {
    if (!this.chosen) this.drawing.highlight([], []);
    else if (this.chosen.net !== undefined) this.highlightNet(this.chosen.net);
    else this.highlightTile(this.chosen.x, this.chosen.y);
    this.drawing.svg.classList.toggle("has-choice", this.chosen !== null);
    this.drawing.cursor(this.cursor);
  }

  highlightNet(net) {
    const { found } = this.scene;
    this.drawing.highlight([net], [...found.nets[net].drivers, ...found.nets[net].sinks]);
  }

  highlightTile(x, y) {
    const { found, naming } = this.scene;
    const device = naming.deviceAt(x, y);
    const stack = naming.stackOfDevice.get(device);
    const nets = [...new Set(found.netsAt(x, y).map((place) => place.net))];
    this.drawing.highlight(nets, stack !== undefined ? naming.stackDevices(stack) : device >= 0 ? [device] : []);
  }

  /** The net whose wire is nearest to a point in a tile, if one is near enough or nothing else is there. */
  netNear(x, y, fx, fy) {
    const { found, naming, board } = this.scene;
    const here = found.netsAt(x, y).filter((place) => this.shown[place.colour]);
    if (!here.length) return -1;
    const joined = (net, dx, dy) => found.netsAt(x + dx, y + dy).some((place) => place.net === net);
    let [best, distance] = [-1, Infinity];
    for (const { net, colour, half } of here) {
      const at = lane(0, colour, board.colours.length) / TILE;
      const across = half !== "ns" && (joined(net, -1, 0) || joined(net, 1, 0)) ? Math.abs(fy - at) : Infinity;
      const down = half !== "we" && (joined(net, 0, -1) || joined(net, 0, 1)) ? Math.abs(fx - at) : Infinity;
      const near = Math.min(across, down, 0.5);
      if (near < distance) [best, distance] = [net, near];
    }
    const device = naming.deviceAt(x, y);
    const onBox = device >= 0 && this.scene.board.devices[device].kind !== "crossover" && Math.max(Math.abs(fx - 0.5), Math.abs(fy - 0.5)) < 0.37;
    return onBox || (device >= 0 && distance > WIRE_REACH) ? -1 : best;
  }

  hover(x, y, fx, fy) {
    const { board, naming } = this.scene;
    if (x < 0 || y < 0 || x >= board.width || y >= board.height) {
      this.unhover();
      return;
    }
    const net = this.netNear(x, y, fx, fy);
    this.place.textContent = tile(x, y);
    this.under.textContent = net >= 0 ? `${naming.netWords(net)} · ${naming.netReach(net)}` : naming.tileWords(x, y, (i) => this.bitOf(i));
    const key = net >= 0 ? `net ${net}` : `tile ${x},${y}`;
    if (key === this.hovered) return;
    this.hovered = key;
    if (net >= 0) this.highlightNet(net);
    else if (naming.deviceAt(x, y) >= 0) this.highlightTile(x, y);
    else this.restoreHighlight();
  }

  unhover() {
    if (this.hovered === null) return;
    this.hovered = null;
    this.place.textContent = this.under.textContent = "";
    this.restoreHighlight();
  }

  click(x, y, fx, fy) {
    const { board } = this.scene;
    if (x < 0 || y < 0 || x >= board.width || y >= board.height) {
      this.choose(null);
      return;
    }
    this.cursor = { x, y };
    const net = this.netNear(x, y, fx, fy);
    if (net >= 0) this.choose({ net });
    else if (!this.actOn(x, y)) this.choose({ x, y });
  }

  /** While playing: presses, flips, starts or stops the source on a tile; false where there is none. */
  actOn(x, y) {
    if (this.mode !== "play" || this.isFollower) return false;
    const source = this.network.sources.findIndex((device) => device.x === x && device.y === y);
    if (source < 0) return false;
    this.withCaution(() => this.play.act(source));
    return true;
  }

  withCaution(go) {
    withCaution(go);
  }

  // The keyboard.

  setCursor(x, y) {
    const { board } = this.scene;
    this.cursor = { x: Math.min(board.width - 1, Math.max(0, x)), y: Math.min(board.height - 1, Math.max(0, y)) };
    this.view.reveal(this.cursor.x, this.cursor.y);
    this.drawing.cursor(this.cursor);
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
    const from = this.cursor ?? { x: Math.round(this.view.centre[0]) - dx * far, y: Math.round(this.view.centre[1]) - dy * far };
    this.setCursor(from.x + dx * far, from.y + dy * far);
    const { x, y } = this.cursor;
    this.highlightTile(x, y);
    const words = this.scene.naming.tileWords(x, y, (i) => this.bitOf(i));
    this.place.textContent = tile(x, y);
    this.under.textContent = words;
    this.say(`${tile(x, y)}: ${words}`);
  }

  chooseAtCursor() {
    if (!this.cursor) return;
    const { x, y } = this.cursor;
    if (!this.actOn(x, y)) this.choose({ x, y });
  }

  nextNet() {
    if (!this.cursor) return;
    const { x, y } = this.cursor;
    const here = [...new Set(this.scene.found.netsAt(x, y).map((place) => place.net))];
    if (!here.length) {
      this.say(t("There is no wire on {tile}", { tile: tile(x, y) }));
      return;
    }
    const net = here[(here.indexOf(this.chosen?.net) + 1) % here.length];
    this.choose({ net });
    this.say(`${this.scene.naming.netWords(net)}, ${this.scene.naming.netReach(net)}`);
  }

  // What else is shown, and to whom.

  showColour(colour, on) {
    this.shown[colour] = on;
    this.drawing.showColours(this.shown);
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
    const shared = { mode: this.mode, chosen: this.chosen, shown: this.shown, theme: document.documentElement.dataset.theme };
    return { ...shared, play: this.play.snapshot(), lay: this.lay.snapshot() };
  }

  changed() {
    this.leader?.changed();
  }

  /** In a second window: shows what the first one shows. */
  follow({ mode, chosen, shown, theme, play, lay }) {
    document.documentElement.dataset.theme = theme;
    const isNewMode = mode !== this.mode;
    const isNewStep = mode === "lay" && lay.step !== this.lay.at;
    this.lay.at = lay.step;
    this.chosen = chosen;
    if (isNewMode) this.setMode(mode);
    else if (isNewStep) this.lay.apply(lay);
    if (mode !== "lay") this.play.apply(play);
    this.shown = shown;
    this.drawing.showColours(shown);
    this.restoreHighlight();
  }

  /** What goes on paper: the whole board, or what the step that is being laid shows. */
  showPrinted() {
    const whole = [0, 0, this.board.width - 1, this.board.height - 1];
    const area = (this.mode === "lay" && this.view.fitted) || whole;
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
  if (page.isFollower) follow(page.hash, (snapshot) => page.follow(snapshot));
  document.documentElement.dataset.ready = "true";
}

start();
