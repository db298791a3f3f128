// Every text that a person reads: gettext with placeholders in braces. Names and coordinates stay as they are.

let catalogue = { texts: {}, plurals: null };

/** `data` is {texts: msgid -> its forms, plurals: which form each number from 0 to 199 takes}, or null. */
export function setCatalogue(data) {
  catalogue = data ?? { texts: {}, plurals: null };
}

function filled(text, values) {
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

/** The translation of `msgid`, its {placeholders} filled from `values`. */
export function t(msgid, values = {}) {
  return filled(catalogue.texts[msgid]?.[0] || msgid, values);
}

/** Like `t`, by number: {n} is `count`. Plural forms repeat from 100 on in every language of gettext's manual. */
export function tn(one, many, count, values = {}) {
  const forms = catalogue.texts[one];
  const form = forms && catalogue.plurals ? forms[catalogue.plurals[count < 200 ? count : 100 + (count % 100)]] : "";
  return filled(form || (count === 1 ? one : many), { n: count, ...values });
}

/** A tile as it is written everywhere. */
export function tile(x, y) {
  return `(${x},${y})`;
}
