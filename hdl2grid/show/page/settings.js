// Theme and language: chosen here, kept in the browser, else the system's and the page's own.

import { button, h, select } from "./dom.js";
import { load, save } from "./store.js";
import { t } from "./text.js";

const dark = window.matchMedia("(prefers-color-scheme: dark)");

/** Puts the theme in force: "light", "dark", or "system" for what the system says. */
export function applyTheme() {
  const theme = load("theme") ?? "system";
  document.documentElement.dataset.theme = theme === "system" ? (dark.matches ? "dark" : "light") : theme;
}

dark.addEventListener("change", applyTheme);

/** The dialog's content; `relabel` draws the page anew in another language. */
export function settingsBody(page, relabel) {
  const themes = [
    ["system", t("as the system has it")],
    ["light", t("light")],
    ["dark", t("dark")],
  ];
  const chooseTheme = (value) => {
    save("theme", value);
    applyTheme();
    page.changed();
  };
  const chooseLanguage = (value) => {
    save("language", value);
    relabel();
  };
  return h("div", { class: "settings" },
    select(t("Theme"), themes, load("theme") ?? "system", chooseTheme),
    select(t("Language"), page.model.languages, page.language, chooseLanguage),
  );
}

export function showSettings(page, relabel) {
  const element = h("dialog", { "aria-labelledby": "dialog-title" },
    h("h2", { id: "dialog-title" }, t("Settings")),
    settingsBody(page, () => {
      element.close();
      relabel();
    }),
    h("div", { class: "row" }, button(t("Close"), () => element.close(), { class: "main-action" })),
  );
  element.addEventListener("close", () => element.remove());
  document.body.append(element);
  element.showModal();
}
