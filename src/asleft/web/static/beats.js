// A sequence by hand: large words, the tool's own sounds, a bar that runs out, and a line along the picture of the windows.
// The sounds are made here (Web Audio); nothing is fetched. With reduced motion nothing slides: numbers count instead.

let audio = null;

// sounds may begin only after a press: the first one on the page makes them ready
export function readySounds() {
  const wake = () => {
    audio ??= new AudioContext();
    if (audio.state === "suspended") audio.resume();
  };
  for (const name of ["pointerdown", "keydown"]) addEventListener(name, wake, { capture: true });
}

// sound -> [[hertz, begin s, length s], ...]
const SOUNDS = {
  wait: [[392, 0, 0.07]],
  press: [[330, 0, 0.14], [659, 0.12, 0.26]],
  release: [[659, 0, 0.14], [330, 0.12, 0.26]],
  turn: [[523, 0, 0.1], [523, 0.15, 0.1], [523, 0.3, 0.16]],
};

function play(sound) {
  if (!audio || audio.state !== "running") return;
  for (const [hertz, begin, length] of SOUNDS[sound] || SOUNDS.turn) {
    const at = audio.currentTime + begin;
    const tone = audio.createOscillator();
    const loud = audio.createGain();
    tone.type = "triangle";
    tone.frequency.value = hertz;
    loud.gain.setValueAtTime(0.0001, at);
    loud.gain.exponentialRampToValueAtTime(0.5, at + 0.012);
    loud.gain.exponentialRampToValueAtTime(0.0001, at + length);
    tone.connect(loud).connect(audio.destination);
    tone.start(at);
    tone.stop(at + length + 0.02);
  }
}

const still = matchMedia("(prefers-reduced-motion: reduce)");
const LATE = 0.6; // a cue that is older is shown, not sounded, s
const SVG = "http://www.w3.org/2000/svg";

export class Beats {
  constructor(box) {
    this.box = box;
    this.key = null;
    this.timer = 0;
  }

  part(name) {
    return this.box.querySelector(".beat-" + name);
  }

  // told: cues, begun_s (since the first act's cue; negative in the count-in), picture and scale; or ended
  take(told) {
    if (!told || !("key" in told)) {
      if (told) this.hide();
      return;
    }
    if (told.key === this.key) return;
    this.key = told.key;
    if (told.ended !== undefined) this.end(told.ended);
    else this.begin(told);
  }

  begin(told) {
    clearTimeout(this.timer);
    cancelAnimationFrame(this.frame);
    this.cues = told.cues;
    this.zero = performance.now() / 1000 - told.begun_s;
    this.next = this.cues.findIndex((cue) => cue.at > told.begun_s - LATE);
    if (this.next < 0) this.next = this.cues.length;
    this.last = Math.max(...this.cues.map((cue) => cue.until ?? cue.at)) + 1.5;
    this.part("kind").textContent = told.rehearsal ? "Rehearsal: nothing is asked of the car" : "Counts now";
    this.box.classList.toggle("is-rehearsal", told.rehearsal);
    this.part("now").textContent = "";
    this.part("track").innerHTML = told.track || "";
    this.scale = told.scale;
    this.line = this.runner();
    this.done = told.done || null;
    this.box.hidden = false;
    this.tick();
  }

  runner() {
    const svg = this.part("track").querySelector("svg");
    if (!svg || !this.scale) return null;
    const line = document.createElementNS(SVG, "line");
    const tall = svg.viewBox.baseVal.height;
    for (const [name, value] of [["y1", 0], ["y2", tall], ["stroke-width", 4]]) line.setAttribute(name, value);
    line.setAttribute("class", "s-mark");
    svg.append(line);
    return line;
  }

  tick() {
    const now = performance.now() / 1000 - this.zero;
    while (this.next < this.cues.length && this.cues[this.next].at <= now) {
      const cue = this.cues[this.next++];
      this.part("now").textContent = cue.text;
      if (now - cue.at < LATE) play(cue.sound);
    }
    this.show(now);
    if (now > this.last) {
      this.part("next").textContent = "";
      if (this.done) this.done();
      return;
    }
    if (still.matches) this.timer = setTimeout(() => this.tick(), this.pause(now));
    else this.frame = requestAnimationFrame(() => this.tick());
  }

  // without motion: woken for each cue and each whole second
  pause(now) {
    const cue = this.cues[this.next];
    const second = Math.floor(now) + 1 - now;
    return Math.max(5, 1000 * Math.min(second, cue ? cue.at - now : second));
  }

  show(now) {
    const cue = this.cues[this.next];
    const before = this.cues[this.next - 1];
    const wait = cue ? cue.at - now : 0;
    const whole = cue ? cue.at - (before ? before.at : cue.at - 1) : 1;
    const words = cue ? "then " + cue.text + (wait > 1 ? " in " + Math.ceil(wait) : "") : "";
    if (this.part("next").textContent !== words) this.part("next").textContent = words;
    const share = still.matches ? Math.ceil(wait) / Math.max(1, Math.ceil(whole)) : wait / whole;
    this.part("left").style.transform = "scaleX(" + Math.min(1, Math.max(0, share)) + ")";
    if (!this.line) return;
    const at = still.matches ? Math.floor(now) : now;
    const { from, to, left, right } = this.scale;
    const x = left + Math.min(1, Math.max(0, (at - from) / (to - from))) * (right - left);
    this.line.setAttribute("x1", x);
    this.line.setAttribute("x2", x);
  }

  end(words) {
    cancelAnimationFrame(this.frame);
    clearTimeout(this.timer);
    this.part("kind").textContent = "Ended";
    this.part("now").textContent = words;
    this.part("next").textContent = "";
    this.box.hidden = false;
    this.timer = setTimeout(() => this.hide(), 6000);
  }

  hide() {
    cancelAnimationFrame(this.frame);
    clearTimeout(this.timer);
    this.box.hidden = true;
  }
}
