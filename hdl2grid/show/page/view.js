// Looking at the drawing: pan, zoom, rulers, the tile under the pointer, and a tile cursor for the keyboard.

import { s } from "./dom.js";
import { TILE } from "./wires.js";

/** Least and most pixels to a tile. Guessed. */
const MIN_SCALE = 3;
const MAX_SCALE = 140;

/** Pixels that a pointer may travel between press and release and still click. Guessed. */
const CLICK_REACH = 5;

/** Tiles around what is printed, for coordinates. Guessed. */
const MARGIN = 1.2;

/** Shows a part of the board in `svg`. `on` has hover(x, y, fx, fy), leave(), click(x, y, fx, fy), moved(). */
export class View {
  constructor(svg, rulers, on) {
    this.svg = svg;
    this.rulers = rulers;
    this.on = on;
    this.centre = [0, 0];
    this.scale = 24;
    this.size = [1, 1];
    this.board = [1, 1];
    this.pointers = new Map();
    new ResizeObserver(() => this.measure()).observe(svg);
    svg.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    svg.addEventListener("pointerdown", (event) => this.down(event));
    svg.addEventListener("pointermove", (event) => this.move(event));
    svg.addEventListener("pointerup", (event) => this.up(event));
    svg.addEventListener("pointercancel", (event) => this.pointers.delete(event.pointerId));
    svg.addEventListener("pointerleave", () => this.on.leave());
  }

  measure() {
    const { width, height } = this.svg.getBoundingClientRect();
    if (!width || !height) return;
    const first = this.size[0] === 1;
    this.size = [width, height];
    if (first || this.fitted) this.fit(this.fitted);
    else this.apply();
  }

  /** Shows an area [x0, y0, x1, y1] of tiles, ends included; without one, the whole board. */
  fit(area = null) {
    const [x0, y0, x1, y1] = area ?? [0, 0, this.board[0] - 1, this.board[1] - 1];
    const [wide, high] = [x1 - x0 + 2, y1 - y0 + 2];
    this.scale = this.limited(Math.min(this.size[0] / wide, this.size[1] / high, area ? 44 : MAX_SCALE));
    this.centre = [(x0 + x1 + 1) / 2, (y0 + y1 + 1) / 2].map((at, i) => this.within(at, i));
    this.fitted = area ?? [x0, y0, x1, y1];
    this.apply();
  }

  /** The middle nearest to `at` along an axis that shows no more bare ground than it must. */
  within(at, axis) {
    const [half, board] = [this.size[axis] / this.scale / 2, this.board[axis]];
    return board + 2 <= 2 * half ? board / 2 : Math.min(board + 1 - half, Math.max(half - 1, at));
  }

  limited(scale) {
    return Math.min(MAX_SCALE, Math.max(MIN_SCALE, scale));
  }

  /** Zooms by `factor` about a point of the window, or about the middle. */
  zoom(factor, at = null) {
    const before = at && this.place(at);
    this.scale = this.limited(this.scale * factor);
    if (before) {
      const after = this.place(at);
      this.centre = [this.centre[0] + before[0] - after[0], this.centre[1] + before[1] - after[1]];
    }
    this.fitted = null;
    this.apply();
  }

  /** Moves the view by tiles. */
  pan(dx, dy) {
    this.centre = [this.centre[0] + dx, this.centre[1] + dy];
    this.fitted = null;
    this.apply();
  }

  /** Moves the view no further than needed to show a tile. */
  reveal(x, y) {
    const [wide, high] = [this.size[0] / this.scale / 2 - 1.5, this.size[1] / this.scale / 2 - 1.5];
    const into = (middle, at, reach) => Math.min(Math.max(middle, at - reach), at + reach);
    const next = [into(this.centre[0], x + 0.5, Math.max(0, wide)), into(this.centre[1], y + 0.5, Math.max(0, high))];
    if (next[0] === this.centre[0] && next[1] === this.centre[1]) return;
    this.centre = next;
    this.fitted = null;
    this.apply();
  }

  /** For paper: just an area and a margin for its coordinates; `apply` ends it. */
  showPrinted([x0, y0, x1, y1]) {
    const box = [x0 - MARGIN, y0 - MARGIN, x1 - x0 + 1 + 2 * MARGIN, y1 - y0 + 1 + 2 * MARGIN];
    this.svg.setAttribute("viewBox", box.map((tiles) => (tiles * TILE).toFixed(2)).join(" "));
    this.svg.classList.remove("tiny");
    this.svg.style.setProperty("--unit", "1");
  }

  apply() {
    this.centre = this.centre.map((at, i) => Math.min(this.board[i] + 1, Math.max(-1, at)));
    const [wide, high] = this.size.map((size) => size / this.scale);
    const [left, top] = [this.centre[0] - wide / 2, this.centre[1] - high / 2];
    this.svg.setAttribute("viewBox", [left, top, wide, high].map((tiles) => (tiles * TILE).toFixed(2)).join(" "));
    this.svg.classList.toggle("tiny", this.scale < 9);
    this.svg.style.setProperty("--unit", (TILE / this.scale).toFixed(3));
    drawRuler(this.rulers.x, left, this.board[0], this.scale, this.size[0], false);
    drawRuler(this.rulers.y, top, this.board[1], this.scale, this.size[1], true);
    this.on.moved();
  }

  /** Where a point [clientX, clientY] of the window is, in tiles and parts of tiles. */
  place([clientX, clientY]) {
    const { left, top } = this.svg.getBoundingClientRect();
    return [
      this.centre[0] + (clientX - left - this.size[0] / 2) / this.scale,
      this.centre[1] + (clientY - top - this.size[1] / 2) / this.scale,
    ];
  }

  tell(name, event) {
    const [x, y] = this.place([event.clientX, event.clientY]);
    const [column, row] = [Math.floor(x), Math.floor(y)];
    this.on[name](column, row, x - column, y - row);
  }

  wheel(event) {
    event.preventDefault();
    const unit = event.deltaMode === 1 ? 20 : 1;
    this.zoom(Math.exp((-event.deltaY * unit) / 400), [event.clientX, event.clientY]);
  }

  down(event) {
    if (event.button) return;
    this.svg.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, { at: [event.clientX, event.clientY], travelled: 0 });
  }

  move(event) {
    const pointer = this.pointers.get(event.pointerId);
    if (!pointer) {
      this.tell("hover", event);
      return;
    }
    const now = [event.clientX, event.clientY];
    const [dx, dy] = [now[0] - pointer.at[0], now[1] - pointer.at[1]];
    if (this.pointers.size === 2) this.pinch(event.pointerId, now);
    pointer.travelled += Math.abs(dx) + Math.abs(dy);
    pointer.at = now;
    if (pointer.travelled <= CLICK_REACH) return;
    const share = this.pointers.size;
    this.pan(-dx / this.scale / share, -dy / this.scale / share);
  }

  pinch(moving, now) {
    const other = [...this.pointers].find(([id]) => id !== moving)[1].at;
    const old = this.pointers.get(moving).at;
    const apart = (a) => Math.hypot(a[0] - other[0], a[1] - other[1]);
    if (apart(old) > 10) this.zoom(apart(now) / apart(old), [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
  }

  up(event) {
    const pointer = this.pointers.get(event.pointerId);
    this.pointers.delete(event.pointerId);
    if (pointer && pointer.travelled <= CLICK_REACH) this.tell("click", event);
  }
}

/** The steps of a ruler whose figures are `room` tiles apart at least. */
function rulerStep(room) {
  return [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].find((step) => step >= room) ?? 2000;
}

function drawRuler(ruler, start, count, scale, length, vertical) {
  const every = rulerStep((vertical ? 15 : 22) / scale);
  const first = Math.max(0, Math.ceil(start / every) * every);
  const texts = [];
  for (let index = first; index < count && (index - start) * scale < length; index += every) {
    const at = ((index + 0.5 - start) * scale).toFixed(1);
    if (at < 0) continue;
    const place = vertical ? { x: 24, y: at, dy: "0.35em", "text-anchor": "end" } : { x: at, y: 15, "text-anchor": "middle" };
    texts.push(s("text", { ...place, class: index % 5 ? null : "fifth" }, String(index)));
  }
  ruler.replaceChildren(...texts);
}
