// Says while somebody types what is wrong in a procedure; nothing is written. Without this script a button asks for it.

const WAIT_MS = 350;
let timer = 0;
let asked = 0;

async function lint(form) {
  const mine = ++asked;
  try {
    const answer = await fetch(form.dataset.lint, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    if (!answer.ok || mine !== asked) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("draft");
    if (fresh) show(form, fresh);
  } catch {
    // the server is away; keeping it will say so
  }
}

// the words stand in the form that is typed in, and at the fields they are about
function show(form, fresh) {
  document.getElementById("draft").remove();
  form.querySelector(".plain-buttons").before(fresh);
  const wrong = new Set([...fresh.querySelectorAll('[data-level="error"]')].map((item) => "v:" + item.dataset.place));
  for (const field of form.elements) {
    if (!field.name.startsWith("v:")) continue;
    const bad = wrong.has(field.name);
    if (bad) field.setAttribute("aria-invalid", "true");
    else field.removeAttribute("aria-invalid");
  }
}

document.addEventListener("input", (event) => {
  const form = event.target.closest?.("form.editing");
  if (!form) return;
  clearTimeout(timer);
  timer = setTimeout(() => lint(form), WAIT_MS);
});
