// Painting at a pace that is safe to look at: WCAG 2.2, success criterion 2.3.1, allows three flashes in any
// second, each a pair of opposing changes. Whatever the machine does, what it shows changes at most three times
// a second, so that nothing can flash more than one and a half times.

/** Time between two paints: a little more than a third of a second. */
export const PAINT_MS = 340;

/** The same where the system asks for reduced motion. Guessed. */
const CALM_PAINT_MS = 1000;

/** Calls `paint` for requests, never sooner than the pace allows; requests in between become one. */
export class Pace {
  constructor(paint, isCalm = () => false) {
    this.paint = paint;
    this.isCalm = isCalm;
    this.last = -Infinity;
    this.timer = null;
  }

  get interval() {
    return this.isCalm() ? CALM_PAINT_MS : PAINT_MS;
  }

  /** Milliseconds until something may be painted again. */
  get wait() {
    return Math.max(0, this.last + this.interval - performance.now());
  }

  request() {
    if (this.timer !== null) return;
    if (this.wait === 0) this.now();
    else this.timer = setTimeout(() => this.now(), this.wait);
  }

  now() {
    clearTimeout(this.timer);
    this.timer = null;
    this.last = performance.now();
    this.paint();
  }
}
