// What the browser keeps for us, if it keeps anything: storage may be switched off, full or forbidden.

const memory = new Map();

function storage() {
  try {
    return window.localStorage;
  } catch {
    return null;
  }
}

/** The value kept under `key`, or null. */
export function load(key) {
  try {
    const text = storage()?.getItem(`hdl2grid:${key}`) ?? null;
    return text === null ? (memory.get(key) ?? null) : JSON.parse(text);
  } catch {
    return memory.get(key) ?? null;
  }
}

/** Keeps a value; false when it is only kept until the page is closed. */
export function save(key, value) {
  memory.set(key, value);
  try {
    const place = storage();
    if (!place) return false;
    place.setItem(`hdl2grid:${key}`, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}
