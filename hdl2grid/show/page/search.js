// Search by name or coordinate: a combobox after the WAI-ARIA Authoring Practices.

import { h } from "./dom.js";
import { findEntries } from "./naming.js";
import { t, tile, tn } from "./text.js";

/** Most entries in the list; the rest is counted. Guessed. */
const MAX_SHOWN = 12;

export class Search {
  /** `page` offers model, say(text); `onchoose` gets the entry that was chosen. */
  constructor(page, onchoose) {
    this.page = page;
    this.onchoose = onchoose;
    this.entries = null;
    this.found = [];
    this.active = -1;
    this.input = h("input", {
      type: "search",
      role: "combobox",
      autocomplete: "off",
      spellcheck: "false",
      "aria-expanded": "false",
      "aria-controls": "found",
      "aria-autocomplete": "list",
      "aria-label": t("Search by name or coordinate"),
      placeholder: t("Name or x,y"),
      oninput: () => this.search(),
      onkeydown: (event) => this.key(event),
      onblur: () => setTimeout(() => this.close(), 150),
    });
    this.list = h("ul", { id: "found", role: "listbox", hidden: true, "aria-label": t("What was found") });
    this.element = h("div", { class: "search", role: "search" }, this.input, this.list);
  }

  search() {
    this.entries ??= this.page.model.naming.entries();
    this.found = findEntries(this.entries, this.input.value, this.page.model.board);
    this.active = this.found.length ? 0 : -1;
    this.show();
    if (this.input.value.trim()) this.page.say(tn("{n} found", "{n} found", this.found.length));
  }

  show() {
    const isOpen = this.input.value.trim() !== "";
    this.list.hidden = !isOpen;
    this.input.setAttribute("aria-expanded", String(isOpen));
    const items = this.found.slice(0, MAX_SHOWN).map((entry, i) =>
      h("li", { id: `found-${i}`, role: "option", "aria-selected": String(i === this.active), onpointerdown: () => this.choose(i) },
        h("b", {}, entry.text), h("small", {}, `${entry.kind} ${tile(...entry.at)}`), entry.also.length > 0 && h("small", {}, entry.also[0]),
      ),
    );
    const more = this.found.length - MAX_SHOWN;
    if (more > 0) items.push(h("li", { role: "option", "aria-disabled": "true", "aria-selected": "false" }, tn("and {n} more", "and {n} more", more)));
    if (!items.length) items.push(h("li", { role: "option", "aria-disabled": "true", "aria-selected": "false" }, t("Nothing is called so.")));
    this.list.replaceChildren(...items);
    if (this.active >= 0) this.input.setAttribute("aria-activedescendant", `found-${this.active}`);
    else this.input.removeAttribute("aria-activedescendant");
  }

  key(event) {
    const last = Math.min(this.found.length, MAX_SHOWN) - 1;
    const steps = { ArrowDown: 1, ArrowUp: -1 };
    if (event.key in steps && last >= 0) {
      event.preventDefault();
      this.active = Math.min(last, Math.max(0, this.active + steps[event.key]));
      this.show();
    } else if (event.key === "Enter" && this.active >= 0) {
      event.preventDefault();
      this.choose(this.active);
    } else if (event.key === "Escape") {
      this.close();
    }
  }

  choose(index) {
    const entry = this.found[index];
    this.close();
    if (entry) this.onchoose(entry);
  }

  close() {
    this.list.hidden = true;
    this.input.setAttribute("aria-expanded", "false");
    this.input.removeAttribute("aria-activedescendant");
  }
}
