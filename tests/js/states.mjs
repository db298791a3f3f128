// The state of an engine as hdl2grid/sim/engine.py writes it, in hexadecimal.

export function stateHex(engine) {
  const { network, bits } = engine;
  const bytes = new Uint8Array(Math.ceil(bits.length / 8));
  bits.forEach((bit, i) => (bytes[i >> 3] |= bit << (7 - (i & 7))));
  let hex = Buffer.from(bytes).toString("hex");
  if (network.stacks.some((stack) => stack.strobed && stack.size > 1)) {
    const generator = Buffer.alloc(8);
    generator.writeBigUInt64LE(engine.generator);
    hex += generator.toString("hex");
  }
  return hex;
}
