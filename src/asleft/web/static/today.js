// Today: work items found by words, and the list of cars kept as it is now. Without this script the page works as well.
/* global Idiomorph */

const byId = (id) => document.getElementById(id);

const finder = byId("finder");
if (finder) {
  finder.hidden = false;
  const choices = [...byId("choices").children];
  byId("find-work").addEventListener("input", (event) => {
    const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const choice of choices) {
      const text = choice.textContent.toLowerCase();
      const fits = words.every((word) => text.includes(word));
      choice.hidden = !fits && !choice.querySelector("input").checked;
      shown += fits ? 1 : 0;
    }
    byId("none-found").hidden = shown > 0;
  });
  byId("find-work").addEventListener("keydown", (event) => event.key === "Enter" && event.preventDefault());
}

setInterval(async () => {
  const cars = document.querySelector(".cars");
  if (!cars || document.hidden) return;
  try {
    const answer = await fetch("/");
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(".cars");
    if (answer.ok && fresh) Idiomorph.morph(cars, fresh, { morphStyle: "outerHTML" });
  } catch {
    // the server is away; the list stays as it was
  }
}, 4000);
