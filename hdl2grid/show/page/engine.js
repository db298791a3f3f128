// The engine: pulses, rounds and waves of docs/grid-model.md, one round at a time if asked for.

const MASK = (1n << 64n) - 1n;

/** The function of `size` toggles of which `ones` are 1. XOR says exactly one (IEC 60617-12, `=1`). */
export function gateOutput(name, ones, size) {
  switch (name) {
    case "AND":
      return Number(ones === size);
    case "NAND":
      return Number(ones !== size);
    case "OR":
      return Number(ones > 0);
    case "NOR":
      return Number(ones === 0);
    case "XOR":
      return Number(ones === 1);
    default:
      return Number(ones !== 1);
  }
}

/** Plays waves on a network. `remembered` gives the stacks' outputs where they are not those of the bits. */
export class Engine {
  constructor(network, seed = 0n, remembered = null) {
    this.network = network;
    this.bits = Uint8Array.from(network.initial);
    this.ones = new Int32Array(network.stacks.length);
    for (let toggle = 0; toggle < network.firstPixel; toggle++) {
      this.ones[network.owner[toggle]] += this.bits[toggle];
    }
    this.remembered = Uint8Array.from(remembered ?? network.stacks.map((_, stack) => this.output(stack)));
    this.generator = BigInt(seed) & MASK;
    this.wave = null;
  }

  output(stack) {
    const form = this.network.stacks[stack];
    return gateOutput(form.function, this.ones[stack], form.size);
  }

  /** Begins a wave; false when a stopped ticker was asked to tick. */
  begin(driver) {
    const { sources, firstSource } = this.network;
    if (driver < sources.length && sources[driver].kind === "ticker" && !this.bits[firstSource + driver]) {
      return false;
    }
    this.wave = { due: [driver], emitted: new Set(), rounds: 0, pulses: 0, lost: [], delays: [] };
    return true;
  }

  /** One round of the wave that was begun: {emitting, flipped, marked}; `wave` is null once it has ended. */
  round() {
    const wave = this.wave;
    const emitting = wave.due;
    wave.rounds += 1;
    wave.pulses += emitting.length;
    for (const driver of emitting) wave.emitted.add(driver);
    const { flipped, marked, touched } = this.hit(emitting, wave.delays);
    const numSources = this.network.sources.length;
    wave.due = [];
    for (const stack of touched) {
      if (!this.decides(stack, marked)) continue;
      if (wave.emitted.has(numSources + stack)) wave.lost.push(stack);
      else wave.due.push(numSources + stack);
    }
    if (!wave.due.length) this.wave = null;
    return { number: wave.rounds - 1, emitting, flipped, marked, wave };
  }

  /** A whole wave: {rounds, pulses, lost, delays}, both lists ascending. */
  fire(driver) {
    if (!this.begin(driver)) return { rounds: 0, pulses: 0, lost: [], delays: [] };
    const { wave } = this;
    while (this.wave) this.round();
    const sorted = (list) => list.sort((a, b) => a - b);
    return { rounds: wave.rounds, pulses: wave.pulses, lost: sorted(wave.lost), delays: sorted(wave.delays) };
  }

  hit(emitting, delays) {
    const { hits, owner, firstPixel, firstStrobe, firstDelay } = this.network;
    const flipped = [];
    const marked = new Set();
    const touched = new Set();
    for (const driver of emitting) {
      for (const element of hits[driver]) {
        if (element >= firstDelay) {
          delays.push(element - firstDelay);
        } else if (element >= firstStrobe) {
          marked.add(element - firstStrobe);
          touched.add(element - firstStrobe);
        } else {
          this.bits[element] ^= 1;
          flipped.push(element);
          if (element < firstPixel) {
            this.ones[owner[element]] += this.bits[element] ? 1 : -1;
            touched.add(owner[element]);
          }
        }
      }
    }
    return { flipped, marked, touched: [...touched].sort((a, b) => a - b) };
  }

  /** Examines a stack: whether its gate is due to emit. */
  decides(stack, marked) {
    const form = this.network.stacks[stack];
    if (!form.strobed) {
      const before = this.remembered[stack];
      this.remembered[stack] = this.output(stack);
      return this.remembered[stack] !== before;
    }
    if (!marked.has(stack)) return false;
    if (form.size === 1) return this.ones[stack] === 1;
    return this.draw(form.size) < this.ones[stack];
  }

  /** The next of the generator, 0 <= it < below (SplitMix64: G. L. Steele et al., OOPSLA 2014). */
  draw(below) {
    this.generator = (this.generator + 0x9e3779b97f4a7c15n) & MASK;
    let z = this.generator;
    z = ((z ^ (z >> 30n)) * 0xbf58476d1ce4e5b9n) & MASK;
    z = ((z ^ (z >> 27n)) * 0x94d049bb133111ebn) & MASK;
    z ^= z >> 31n;
    return Number(((z >> 32n) * BigInt(below)) >> 32n);
  }
}
