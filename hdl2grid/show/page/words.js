// Flat names (`ones[0]`, `ones[1]`, `pm`) gathered into words, as hdl2grid/sim/named_words.py does.

/** [word, positions of its bits in `names`, bit 0 first], in order of first appearance; of twins the first. */
export function words(names) {
  const position = new Map();
  names.forEach((name, i) => position.has(name) || position.set(name, i));
  const groups = new Map();
  for (const [name, i] of position) {
    const match = /^(.+)\[(\d{1,6})\]$/.exec(name);
    if (!match) continue;
    if (!groups.has(match[1])) groups.set(match[1], new Map());
    groups.get(match[1]).set(Number(match[2]), i);
  }
  const found = new Map();
  for (const [name, i] of position) {
    const word = /^(.+)\[\d{1,6}\]$/.exec(name)?.[1];
    const bits = groups.get(word);
    const whole = bits && !position.has(word) && [...bits.keys()].every((bit) => bit < bits.size);
    if (whole) found.set(word, Array.from({ length: bits.size }, (_, bit) => bits.get(bit)));
    else found.set(name, [i]);
  }
  return [...found];
}

/** A word's value in decimal, with its bits where there are several. */
export function wordText(bits) {
  if (bits.length === 1) return String(bits[0]);
  const digits = [...bits].reverse().join("");
  return `${BigInt(`0b${digits}`)} (${digits})`;
}
