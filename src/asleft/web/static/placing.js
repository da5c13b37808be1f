// Puts parts of the sheet in place so that nothing jumps under a finger: nodes that stay the same are kept, what a person
// opened or closed stays so, and a question is never taken away from somebody who is typing.
/* global Idiomorph */

const byId = (id) => document.getElementById(id);

const touched = new WeakSet();
document.addEventListener("click", (event) => {
  const summary = event.target.closest?.("summary");
  if (summary) touched.add(summary.parentElement);
});

function parsed(html) {
  const template = document.createElement("template");
  template.innerHTML = html;
  // in a template these would be parsed as if there were no script
  template.content.querySelectorAll("noscript").forEach((element) => element.remove());
  return template.content.firstElementChild;
}

function morph(old, fresh, keepLive) {
  Idiomorph.morph(old, fresh, {
    morphStyle: "outerHTML",
    restoreFocus: true,
    callbacks: {
      beforeAttributeUpdated: (name, node) => !(name === "open" && touched.has(node)),
      beforeNodeMorphed: (node) => !(keepLive && node.id === "live"),
    },
  });
}

export function putPart(name, html, keepLive) {
  const old = byId("part-" + name);
  const fresh = parsed(html);
  if (!old || !fresh) return;
  // a part that is now done folds, and one that is now in hand opens, whatever was pressed before
  if (old.dataset.status !== fresh.dataset.status) {
    old.querySelectorAll(":scope > details").forEach((details) => touched.delete(details));
  }
  morph(old, fresh, keepLive);
}

// -- the question -----------------------------------------------------------------------------------------------------

// a question is another one when somebody else has control of the car now
function questionOf(box) {
  const data = box.querySelector("[data-question]")?.dataset;
  return data ? [data.question, data.holder, data.by].join(" ") : "";
}
let waiting = "";

function isTyping(box) {
  if (box.querySelector("[data-sent]")) return false;
  const text = box.querySelector("input[name=text]");
  const field = document.activeElement;
  return Boolean(text?.value) || (box.contains(field) && field.matches("input:not([type=checkbox])"));
}

export function placeQuestion(html) {
  const box = byId("part-next");
  const fresh = parsed(html);
  const now = questionOf(box);
  if (now && now === questionOf(fresh)) return;
  if (now && isTyping(box)) {
    waiting = html;
    byId("moved").hidden = false;
    return;
  }
  replace(box, fresh);
}

function replace(box, fresh) {
  const focused = box.contains(document.activeElement);
  waiting = "";
  byId("moved").hidden = true;
  byId("error").hidden = true;
  const other = questionOf(box) !== questionOf(fresh);
  morph(box, fresh, false);
  if (!other) return;
  box.querySelectorAll("[data-sent]").forEach((form) => delete form.dataset.sent);
  box.querySelectorAll("input[name=text]").forEach((field) => (field.value = ""));
  box.querySelectorAll(".hold").forEach((button) => delete button.dataset.held);
  arm(box);
  if (focused) {
    const ask = box.querySelector(".ask");
    ask.tabIndex = -1;
    ask.focus({ preventScroll: true });
  }
}

// a second press meant for the last question must not answer the next one
function arm(box) {
  const all = box.querySelectorAll(".buttons");
  all.forEach((buttons) => (buttons.inert = true));
  setTimeout(() => all.forEach((buttons) => (buttons.inert = false)), 400);
}

byId("go-to-next")?.addEventListener("click", () => {
  const text = byId("part-next").querySelector("input[name=text]");
  if (text) text.value = "";
  if (waiting) replace(byId("part-next"), parsed(waiting));
});
