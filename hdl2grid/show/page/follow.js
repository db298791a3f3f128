// A second window that shows the drawing alone and follows the first. Both are this same file; they talk by
// window messages, which work from files too, where broadcast channels need not.

const MARK = "hdl2grid follows";
export const FOLLOWER_HASH = "#drawing";

/** Time between two requests to the first window. Guessed. */
const HELLO_MS = 2000;

/** The first window's side: sends a snapshot to every window that asked for it. */
export class Leader {
  constructor(hash, snapshot) {
    this.hash = hash;
    this.snapshot = snapshot;
    this.windows = new Set();
    window.addEventListener("message", ({ source, data }) => {
      if (data?.mark !== MARK || data.hash !== this.hash || !source) return;
      this.windows.add(source);
      this.send(source);
    });
  }

  open() {
    const address = window.location.href.split("#")[0] + FOLLOWER_HASH;
    return window.open(address, "hdl2grid-drawing", "popup,width=1000,height=760");
  }

  send(target) {
    target.postMessage({ mark: MARK, hash: this.hash, snapshot: this.snapshot() }, "*");
  }

  changed() {
    for (const target of this.windows) {
      if (target.closed) this.windows.delete(target);
      else this.send(target);
    }
  }
}

/** The second window's side: asks its opener for snapshots; asks again now and then, in case that reloads. */
export function follow(hash, apply) {
  window.addEventListener("message", ({ source, data }) => {
    if (source === window.opener && data?.mark === MARK && data.hash === hash && data.snapshot) apply(data.snapshot);
  });
  const hello = () => window.opener?.postMessage({ mark: MARK, hash }, "*");
  hello();
  setInterval(hello, HELLO_MS);
}
