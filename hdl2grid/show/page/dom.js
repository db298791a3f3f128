// Making elements. Texts are set as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

function made(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name in PROPERTIES) element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

const PROPERTIES = { checked: 1, value: 1, selected: 1, indeterminate: 1 };

/** An HTML element: h("button", {class: "x", onclick: f}, "text", child). */
export function h(tag, attributes = {}, ...children) {
  return made(document.createElement(tag), attributes, children);
}

/** An SVG element. */
export function s(tag, attributes = {}, ...children) {
  return made(document.createElementNS(SVG, tag), attributes, children);
}

/** A button with a text, or with a sign and a name for those who do not see it. */
export function button(text, onclick, { sign = null, ...attributes } = {}) {
  const names = sign ? { "aria-label": text, title: text } : {};
  return h("button", { type: "button", onclick, ...names, ...attributes }, sign ?? text);
}

/** A small picture of strokes on a 20 x 20 field, for a button. */
export function icon(...paths) {
  const shapes = paths.map((d) => s("path", { d }));
  return s("svg", { viewBox: "0 0 20 20", width: 20, height: 20, class: "icon", "aria-hidden": "true" }, shapes);
}

/** A checkbox in its label. */
export function checkbox(text, checked, onchange, ...further) {
  const box = h("input", { type: "checkbox", checked, onchange: (event) => onchange(event.target.checked) });
  return h("label", { class: "check" }, box, ...further, h("span", {}, text));
}

/** A list to choose one from, in its label; `choices` are [value, text]. */
export function select(text, choices, chosen, onchange) {
  const options = choices.map(([value, shown]) => h("option", { value, selected: value === chosen }, shown));
  const list = h("select", { onchange: (event) => onchange(event.target.value) }, options);
  return h("label", { class: "field" }, h("span", {}, text), list);
}
