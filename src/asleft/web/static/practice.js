// Hints and tools beside the job sheet: fetched anew when the sheet goes on, used without leaving the page.
// Without this script the forms still work.
const panel = document.getElementById("practice");
const main = document.querySelector("main[data-job]");

function put(html) {
  const open = panel.querySelector("details")?.open;
  panel.innerHTML = html;
  const story = panel.querySelector("details");
  if (story && open) story.open = true;
}

async function fetchPanel() {
  try {
    const answer = await fetch(panel.dataset.panel);
    if (answer.ok) put(await answer.text());
  } catch {
    // the sheet itself says that the connection is gone
  }
}

panel.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  for (const button of panel.querySelectorAll("button")) button.disabled = true;
  const body = new URLSearchParams(new FormData(form));
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { "x-panel": "1" } });
    if (answer.ok) return put(await answer.text());
    await fetchPanel();
    const box = document.getElementById("practice-error");
    if (box) {
      box.textContent = "The car refuses this now.";
      box.hidden = false;
    }
  } catch {
    await fetchPanel();
  }
});

new MutationObserver(fetchPanel).observe(main, { attributes: true, attributeFilter: ["data-sequence"] });
