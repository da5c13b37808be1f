// Moves a procedure in the plan: by its buttons, or with Alt and the arrow keys; cost and conflicts come at once.
/* global Idiomorph */

const place = () => document.getElementById("order");

async function show(address, name, way) {
  try {
    const answer = await fetch(address);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("order");
    if (!answer.ok || !fresh) return;
    Idiomorph.morph(place(), fresh, { morphStyle: "outerHTML", ignoreActiveValue: true });
    history.replaceState(null, "", address);
    const item = place().querySelector('[data-name="' + CSS.escape(name) + '"]');
    (item?.querySelector("." + way) || item?.querySelector(".earlier, .later"))?.focus();
  } catch {
    // the server is away; the order stays as it was
  }
}

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a.move");
  if (!link || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  show(link.href, link.closest("li").dataset.name, link.classList.contains("earlier") ? "earlier" : "later");
});

document.addEventListener("keydown", (event) => {
  if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
  const way = event.key === "ArrowUp" ? "earlier" : "later";
  const item = document.activeElement?.closest?.(".order li");
  const link = item?.querySelector("a." + way);
  if (!item) return;
  event.preventDefault();
  if (link) show(link.href, item.dataset.name, way);
});
