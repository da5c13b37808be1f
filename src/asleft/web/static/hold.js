// Hold to confirm an effect: one second, by finger, pen, mouse, space or enter. A tap does nothing.
const HOLD_MS = 1000;

const holdOf = (event) => event.target.closest?.("button.hold");
let timer = 0;
let held = null;
// what is let go of after an effect was confirmed must not press what stands in its place by then
let lettingGo = false;

function release() {
  clearTimeout(timer);
  held?.classList.remove("holding");
  held = null;
  if (lettingGo) setTimeout(() => (lettingGo = false), 150);
}

function press(button) {
  release();
  held = button;
  button.classList.add("holding");
  timer = setTimeout(() => {
    release();
    if (!button.isConnected) return;
    lettingGo = true;
    confirmed(button);
  }, HOLD_MS);
}

function confirmed(button) {
  button.dataset.held = "yes";
  button.form.requestSubmit(button);
}

export function startHolding() {
  document.addEventListener("pointerdown", (event) => {
    if (holdOf(event) && event.isPrimary && event.button === 0) press(holdOf(event));
  });
  for (const name of ["pointerup", "pointercancel"]) addEventListener(name, release, true);
  addEventListener("blur", release);
  document.addEventListener("pointerleave", (event) => event.target === held && release(), true);
  document.addEventListener("keydown", (event) => {
    const button = holdOf(event);
    if (!button || ![" ", "Enter"].includes(event.key)) return;
    event.preventDefault();
    if (!event.repeat) press(button);
  });
  document.addEventListener("keyup", release);
  const swallow = (event) => {
    if (!lettingGo) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  };
  document.addEventListener("click", swallow, true);
  document.addEventListener("contextmenu", (event) => holdOf(event) && event.preventDefault());
  // a press that assistive technology makes has no length: it is asked for once more instead
  document.addEventListener("click", (event) => {
    const button = holdOf(event);
    if (!button || event.detail !== 0 || button.dataset.held) return;
    event.preventDefault();
    const ask = button.form.querySelector(".ask")?.textContent || "";
    if (confirm(ask)) confirmed(button);
  });
}
