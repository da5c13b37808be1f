// Follows a job: parts of the sheet that changed are put in place, live values shown, answers sent without leaving the page.
// Without this script the sheet still shows the job and takes answers.
import { startHolding } from "./hold.js";
import { placeQuestion, putPart } from "./placing.js";

const main = document.querySelector("main[data-job]");
const base = "/job/" + encodeURIComponent(main.dataset.job);
const byId = (id) => document.getElementById(id);

// -- what is seen -----------------------------------------------------------------------------------------------------

let liveShown = false;

function putAll(parts) {
  for (const [name, html] of Object.entries(parts)) {
    if (name === "next") placeQuestion(html);
    else putPart(name, html, liveShown);
  }
  follow();
}

function showLive(html) {
  const box = byId("live");
  const was = liveShown;
  liveShown = Boolean(box && html.trim());
  if (liveShown) box.innerHTML = html;
  else if (was) fetchAll();
  if (liveShown !== was) follow();
}

async function fetchAll() {
  try {
    const answer = await fetch(base + "/parts", { headers: { accept: "application/json" } });
    if (answer.ok) putAll((await answer.json()).parts);
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
  stream.addEventListener("live", (message) => showLive(JSON.parse(message.data).html));
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

async function send(form, button) {
  const data = new FormData(form);
  if (button?.name) data.set(button.name, button.value);
  sending = true;
  form.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, {
      method: "POST",
      body: new URLSearchParams(data),
      headers: { accept: "application/json" },
    });
    const isJson = answer.headers.get("content-type")?.includes("json");
    tell(isJson ? (await answer.json()).error : "Not taken: " + (await answer.text()).slice(0, 200));
    if (answer.ok) form.dataset.sent = "yes";
    else fetchAll();
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
if (location.hash) {
  shownNow = inHand()?.id;
  following = false;
} else if (main.dataset.stage) {
  follow(false);
}
