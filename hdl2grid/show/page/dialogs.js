// Dialogs: the caution about blinking, shown once, and the help.

import { button, h } from "./dom.js";
import { load, save } from "./store.js";
import { t } from "./text.js";

function dialog(title, body, actions) {
  const element = h("dialog", { "aria-labelledby": "dialog-title" }, h("h2", { id: "dialog-title" }, title), body, h("div", { class: "row" }, actions(() => element.close())));
  element.addEventListener("close", () => element.remove());
  document.body.append(element);
  element.showModal();
  return element;
}

/** Calls `go`, the first time only after a caution about blinking lights has been read. */
export function withCaution(go) {
  if (load("cautioned")) {
    go();
    return;
  }
  const body = [
    h("p", {}, t("A machine that plays can blink. This page changes what it shows at most three times a second, and more seldom if your system asks for reduced motion.")),
    h("p", {}, t("The machine in your own world may blink faster. If flashing light can harm you, let somebody else start its ticker, with a long period first.")),
  ];
  dialog(t("Blinking lights"), body, (close) => [
    button(t("Play"), () => {
      save("cautioned", true);
      close();
      go();
    }, { class: "main-action" }),
    button(t("Not now"), close),
  ]);
}

/** The keys that work while the drawing has the focus. */
function keyRows() {
  return [
    [t("arrow keys"), t("move the cursor by a tile, with Shift by five")],
    [t("Enter or space"), t("choose the tile; while playing, press, flip, start or stop what stands there")],
    ["N", t("choose the next net on this tile")],
    ["+ −", t("zoom in, zoom out")],
    ["0", t("show the whole machine")],
    ["Ctrl + " + t("arrow keys"), t("move the view")],
    ["Esc", t("choose nothing")],
  ];
}

export function showHelp() {
  const rows = keyRows().map(([keys, what]) => h("tr", {}, h("th", { scope: "row" }, keys), h("td", {}, what)));
  const body = [
    h("p", {}, t("Look shows what stands where, Play plays the machine as it is drawn, Lay leads through the guide step by step.")),
    h("p", {}, t("Drag the drawing to move it, turn the wheel to zoom, click to choose.")),
    h("table", { class: "keys" }, h("caption", {}, t("Keys, while the drawing has the focus")), h("tbody", {}, rows)),
    h("p", {}, t("Tiles that touch and bear one colour are joined; colours never touch each other. Wire on a device's tile is connected to it, and a crossover lets two ways pass without touching.")),
  ];
  dialog(t("Help"), body, (close) => [button(t("Close"), close, { class: "main-action" })]);
}
