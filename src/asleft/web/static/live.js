// Shows what is measured without a jerk: only pieces that changed, one in each frame, the newest of each.

// a piece changes five times a second at most: faster than an eye reads, slow enough to scroll smoothly meanwhile
const EVERY_MS = 200;
const SEAM = "<!--piece-->";

export class Live {
  #box = null;
  #shown = [];
  #wanted = new Map();
  #putAt = [];
  #asked = 0;

  // box: where it stands now; html: pieces with seams between them, empty when nothing is live
  show(box, html) {
    const pieces = html.trim() ? html.split(SEAM) : [];
    if (box !== this.#box || pieces.length !== this.#shown.length || box.children.length !== pieces.length) {
      this.#begin(box, pieces);
      return;
    }
    pieces.forEach((piece, n) => {
      if (piece === this.#shown[n]) this.#wanted.delete(n);
      else this.#wanted.set(n, piece);
    });
    if (this.#wanted.size && !this.#asked) this.#asked = requestAnimationFrame(() => this.#frame());
  }

  // what stands there is not ours any more
  forget() {
    cancelAnimationFrame(this.#asked);
    this.#asked = 0;
    this.#box = null;
  }

  #begin(box, pieces) {
    this.forget();
    this.#box = box;
    this.#shown = pieces;
    this.#wanted.clear();
    box.replaceChildren(...pieces.map((piece) => this.#put(document.createElement("div"), piece)));
  }

  #put(element, piece) {
    element.className = "piece";
    element.innerHTML = piece;
    return element;
  }

  // one piece in each frame: the one that has waited longest
  #frame() {
    const now = performance.now();
    const due = [...this.#wanted.keys()].filter((n) => now - (this.#putAt[n] ?? 0) >= EVERY_MS);
    const n = due.sort((a, b) => (this.#putAt[a] ?? 0) - (this.#putAt[b] ?? 0))[0];
    if (n !== undefined) {
      this.#shown[n] = this.#wanted.get(n);
      this.#putAt[n] = now;
      this.#wanted.delete(n);
      this.#put(this.#box.children[n], this.#shown[n]);
    }
    this.#asked = this.#wanted.size ? requestAnimationFrame(() => this.#frame()) : 0;
  }
}
