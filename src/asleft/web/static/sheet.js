// Follows a job: parts of the sheet that changed are put in place, live values shown, answers sent without leaving the page.
// Without this script the sheet still shows the job and takes answers.
import { Beats, readySounds } from "./beats.js";
import { startHolding } from "./hold.js";
import { Live } from "./live.js";
import { placeQuestion, putPart } from "./placing.js";

const main = document.querySelector("main[data-job]");
const base = "/job/" + encodeURIComponent(main.dataset.job);
const byId = (id) => document.getElementById(id);

// -- what is seen -----------------------------------------------------------------------------------------------------

let liveShown = false;
const live = new Live();

function putAll(parts) {
  for (const [name, html] of Object.entries(parts)) {
    if (name === "next") placeQuestion(html);
    else putPart(name, html, liveShown);
  }
  showProgress();
  follow();
}

function showLive(html) {
  const box = byId("live");
  const was = liveShown;
  liveShown = Boolean(box && html.trim());
  if (liveShown) live.show(box, html);
  else if (was) {
    live.forget();
    fetchAll();
  }
  if (liveShown !== was) follow();
}

// progress stands in the run in hand, wherever that is now
const beats = new Beats(byId("beats"));
let progress = "";
function showProgress() {
  const box = byId("progress");
  if (box && box.innerHTML.trim() !== progress.trim()) box.innerHTML = progress;
}

async function fetchAll() {
  try {
    const answer = await fetch(base + "/parts", { headers: { accept: "application/json" } });
    if (!answer.ok) return;
    const news = await answer.json();
    // the stream may have brought newer ones meanwhile
    if (news.sequence < Number(main.dataset.sequence)) fetchAll();
    else putAll(news.parts);
  } catch {
    // the stream says that the connection is gone, and brings everything when it is back
  }
}

// -- what is in hand is in sight, unless the technician looks at something else -----------------------------------------

let lookedAt = -1e9;
let following = true;
let scrolledAt = -1e9;
function looks() {
  lookedAt = performance.now();
  following = false;
}
for (const name of ["wheel", "touchmove"]) main.addEventListener(name, looks, { passive: true });
main.addEventListener("pointerdown", looks);
addEventListener("keydown", (e) => {
  if (["PageDown", "PageUp", "ArrowDown", "ArrowUp", "Home", "End"].includes(e.key)) looks();
});

// the part in hand; of several runs the one that goes on
function inHand() {
  const run = main.dataset.stage === "runs" && document.querySelector(".run + .run-now");
  return run || byId(main.dataset.stage ? "part-" + main.dataset.stage : "part-head");
}

let shownNow = "";

// a new stage or run is scrolled to; while its content grows it is kept in place
function follow(smooth = true) {
  const target = inHand();
  const changed = target?.id !== shownNow;
  if (changed && performance.now() - lookedAt > 6000) following = true;
  shownNow = target?.id;
  if (!target || !following || (!changed && performance.now() - scrolledAt < 1000)) return;
  const still = !smooth || !changed || matchMedia("(prefers-reduced-motion: reduce)").matches;
  target.scrollIntoView({ block: "start", behavior: still ? "instant" : "smooth" });
  if (!changed) return;
  scrolledAt = performance.now();
  setTimeout(follow, 1100); // what grew while it scrolled
}

// -- the stream -------------------------------------------------------------------------------------------------------

let stream;

function listen() {
  stream?.close();
  stream = new EventSource(base + "/events?after=" + main.dataset.sequence);
  stream.addEventListener("journal", (message) => {
    const news = JSON.parse(message.data);
    const have = Number(main.dataset.sequence);
    if (news.last <= have) return;
    main.dataset.sequence = news.last;
    main.dataset.stage = news.stage;
    if (news.first > have + 1) fetchAll();
    else putAll(news.parts);
  });
  stream.addEventListener("page", (message) => putAll(JSON.parse(message.data).parts));
  stream.addEventListener("live", (message) => {
    const news = JSON.parse(message.data);
    showLive(news.html);
    if (news.progress !== undefined) progress = news.progress;
    showProgress();
    if (news.beats !== undefined) beats.take(news.beats);
  });
  stream.addEventListener("problem", (message) => tell(JSON.parse(message.data).error));
  stream.onopen = () => (byId("cut").hidden = true);
  stream.onerror = () => {
    byId("cut").hidden = false;
    if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
  };
}

// -- answers ----------------------------------------------------------------------------------------------------------

function tell(text) {
  byId("error").textContent = text;
  byId("error").hidden = !text;
}

let sending = false;

// the stream shows the sheet to whoever opened it: for another name it is opened anew
let by = main.dataset.by;
function nameGiven(name) {
  if (!name || name === by) return;
  by = name;
  listen();
  fetchAll();
}

// a photo as large as a form takes, JPEG; what is small enough stays as it is
const LARGEST = 600000;
async function smaller(photo) {
  if (photo.size <= LARGEST) return photo;
  try {
    const picture = await createImageBitmap(photo);
    for (const side of [2000, 1400, 1000]) {
      const scale = Math.min(1, side / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale);
      canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.82));
      if (blob && blob.size <= LARGEST) return blob;
    }
  } catch {
    // no picture that this browser can read: it is sent as it is, and refused if it is too large
  }
  return photo;
}

async function send(form, button) {
  const data = new FormData(form);
  if (button?.name) data.set(button.name, button.value);
  const photo = data.get("document");
  const file = photo instanceof File;
  if (file && photo.size && photo.type.startsWith("image/")) data.set("document", await smaller(photo), photo.name);
  sending = true;
  form.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, {
      method: "POST",
      body: file ? data : new URLSearchParams(data),
      headers: { accept: "application/json" },
    });
    const isJson = answer.headers.get("content-type")?.includes("json");
    tell(isJson ? (await answer.json()).error : "Not taken: " + (await answer.text()).slice(0, 200));
    if (answer.ok && form.dataset.said) tell(form.dataset.said);
    if (answer.ok) form.dataset.sent = "yes";
    else fetchAll();
    if (answer.ok) nameGiven(data.get("to") || data.get("by"));
  } catch {
    tell("The page's server does not answer; nothing was sent. Try again when the connection is back.");
  } finally {
    sending = false;
    form.removeAttribute("aria-busy");
  }
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.classList.contains("question")) return;
  event.preventDefault();
  const button = event.submitter;
  if (sending || (button?.classList.contains("hold") && !button.dataset.held)) return;
  delete button?.dataset.held;
  send(form, button);
});

// -- begin ------------------------------------------------------------------------------------------------------------

// figures are drawn for the width of the screen
const slim = matchMedia("(max-width: 40rem)");
function fit() {
  document.cookie = "asleft_narrow=" + (slim.matches ? "1" : "0") + "; path=/; samesite=strict";
  if (Boolean(main.dataset.narrow) === slim.matches) return;
  main.dataset.narrow = slim.matches ? "1" : "";
  fetchAll();
  listen();
}

listen();
fit();
slim.addEventListener("change", fit);
startHolding();
readySounds();
if (location.hash) {
  shownNow = inHand()?.id;
  following = false;
} else if (main.dataset.stage) {
  follow(false);
}
