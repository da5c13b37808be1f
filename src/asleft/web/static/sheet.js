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
  followRun();
}

function showLive(html) {
  const box = byId("live");
  const was = liveShown;
  liveShown = Boolean(box && html.trim());
  if (liveShown) box.innerHTML = html;
  else if (was) fetchAll();
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
const looks = () => (lookedAt = performance.now());
for (const name of ["wheel", "touchmove"]) main.addEventListener(name, looks, { passive: true });
main.addEventListener("pointerdown", looks);
addEventListener("keydown", (e) => {
  if (["PageDown", "PageUp", "ArrowDown", "ArrowUp", "Home", "End"].includes(e.key)) looks();
});

let runShown = document.querySelector(".run-now")?.id;

function scrollTo(element, smooth) {
  if (!element || performance.now() - lookedAt < 6000) return;
  const still = !smooth || matchMedia("(prefers-reduced-motion: reduce)").matches;
  element.scrollIntoView({ block: "start", behavior: still ? "instant" : "smooth" });
}

function followStage(stage, smooth = true) {
  const changed = main.dataset.stage !== stage;
  main.dataset.stage = stage;
  if (changed || !smooth) scrollTo(byId(stage ? "part-" + stage : "part-head"), smooth);
}

function followRun() {
  const run = document.querySelector(".run-now");
  if (run && run.id !== runShown) scrollTo(run, true);
  runShown = run?.id;
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
    if (news.first > have + 1) fetchAll();
    else putAll(news.parts);
    followStage(news.stage);
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
if (!location.hash && main.dataset.stage) followStage(main.dataset.stage, false);
