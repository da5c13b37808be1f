// Follows a job: parts of the sheet that changed are fetched and put in place; answers go without leaving the page.
// Without this script the sheet still shows the job and takes answers.
(() => {
  "use strict";
  const main = document.querySelector("main[data-job]");
  if (!main) return;
  const base = "/job/" + encodeURIComponent(main.dataset.job);
  const wanted = new Set();
  let fetching = false;

  const keepOpen = (box) => new Map([...box.querySelectorAll("details")].map((d, i) => [label(d, i), d.open]));
  const label = (d, i) => i + ":" + (d.querySelector("summary")?.textContent || "").trim().split(":")[0].slice(0, 40);

  function put(box, html) {
    const open = keepOpen(box);
    const focused = box.contains(document.activeElement) ? document.activeElement.id : "";
    box.innerHTML = html;
    box.querySelectorAll("details").forEach((d, i) => {
      const key = label(d, i);
      if (open.has(key)) d.open = open.get(key);
    });
    if (focused) document.getElementById(focused)?.focus();
  }

  async function refresh() {
    if (fetching) return;
    fetching = true;
    try {
      while (wanted.size) {
        const names = [...wanted];
        wanted.clear();
        for (const name of names) {
          const answer = await fetch(base + "/part/" + name);
          if (!answer.ok) continue;
          const html = await answer.text();
          const box = document.getElementById(name === "all" ? "parts" : "part-" + name);
          if (!box) continue;
          if (name === "next" && typing(box, html)) continue;
          put(box, html);
        }
      }
    } catch {
      // the next message from the stream tries again
    } finally {
      fetching = false;
    }
  }

  // the question in hand is not replaced under the technician's fingers when it is still the same
  function typing(box, html) {
    const now = box.querySelector("[data-question]")?.dataset.question;
    return now && html.includes('data-question="' + now + '"');
  }

  function want(names) {
    names.forEach((name) => wanted.add(name));
    wanted.add("next");
    wanted.add("record");
    refresh();
  }

  const journal = new EventSource(base + "/events?after=" + main.dataset.sequence);
  journal.addEventListener("journal", (message) => {
    main.dataset.sequence = message.lastEventId;
    want(JSON.parse(message.data).parts);
  });
  journal.onopen = () => want([]);

  const live = new EventSource(base + "/live");
  live.addEventListener("live", (message) => {
    const box = document.getElementById("live");
    if (!box) return;
    box.innerHTML = message.data;
    box.hidden = !message.data.trim();
  });
  live.addEventListener("away", () => want([]));

  const problem = document.getElementById("error");
  function tell(text) {
    problem.textContent = text;
    problem.hidden = !text;
    if (text) problem.scrollIntoView({ block: "center" });
  }

  async function send(form, button) {
    const data = new FormData(form);
    if (button?.name) data.set(button.name, button.value);
    form.querySelectorAll("button").forEach((b) => (b.disabled = true));
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        body: new URLSearchParams(data),
        headers: { accept: "application/json" },
      });
      const said = answer.headers.get("content-type")?.includes("json") ? await answer.json() : { error: "refused" };
      tell(said.error || "");
    } catch {
      tell("The page's server does not answer. The record is safe; try again.");
    }
    form.querySelectorAll("button").forEach((b) => (b.disabled = false));
    want([]);
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.classList.contains("question")) return;
    event.preventDefault();
    if (event.submitter?.classList.contains("hold") && !event.submitter.dataset.held) return;
    send(form, event.submitter);
  });

  // hold to confirm an effect: one second, by touch, pen, mouse or the space bar
  let timer = 0;
  const release = (button) => {
    clearTimeout(timer);
    button?.classList.remove("holding");
  };
  const press = (button) => {
    release(button);
    button.classList.add("holding");
    timer = setTimeout(() => {
      button.dataset.held = "yes";
      button.form.requestSubmit(button);
    }, 1000);
  };
  const hold = (event) => event.target.closest?.("button.hold");
  document.addEventListener("pointerdown", (event) => hold(event) && press(hold(event)));
  for (const name of ["pointerup", "pointercancel", "pointerleave"]) {
    document.addEventListener(name, (event) => hold(event) && release(hold(event)), true);
  }
  document.addEventListener("keydown", (event) => {
    const button = hold(event);
    if (!button || ![" ", "Enter"].includes(event.key)) return;
    event.preventDefault();
    if (!event.repeat) press(button);
  });
  document.addEventListener("keyup", (event) => hold(event) && release(hold(event)));
  document.addEventListener("contextmenu", (event) => hold(event) && event.preventDefault());
})();
