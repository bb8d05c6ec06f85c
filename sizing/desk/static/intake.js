// The pages of intake: lengths said back as they are typed, photos dropped and dragged, a run followed to its end.
// Everything here also works without this file, by plain forms.

import { showPanel } from "./panel.js";

const post = (url, body, headers = {}) => fetch(url, { method: "POST", body, headers, credentials: "same-origin" });

// Lengths: one request for all boxes of a form, a short while after the last key.
for (const form of document.querySelectorAll("form[data-lengths]")) {
  const boxes = [...form.querySelectorAll("input[data-length]")];
  let waiting = 0;
  let asked = 0;
  const show = async () => {
    const texts = Object.fromEntries(boxes.filter((b) => b.value.trim()).map((b) => [b.id, b.value]));
    const mine = ++asked;
    let answers = {};
    if (Object.keys(texts).length) {
      const body = JSON.stringify({ unit: form.dataset.unit, graduation: form.dataset.graduation, texts });
      const reply = await post("/length", body, { "content-type": "application/json" });
      if (!reply.ok) return;
      answers = await reply.json();
    }
    if (mine !== asked) return;
    for (const box of boxes) {
      const answer = answers[box.id];
      const says = document.getElementById(`${box.id}-says`);
      const text = answer ? answer.says : "";
      if (says.textContent !== text) says.textContent = text;
      says.classList.toggle("bad", Boolean(answer && !answer.ok));
      box.setAttribute("aria-invalid", answer && !answer.ok ? "true" : "false");
    }
  };
  const soon = () => {
    clearTimeout(waiting);
    waiting = setTimeout(show, 250);
  };
  boxes.forEach((box) => box.addEventListener("input", soon));
  if (boxes.some((box) => box.value.trim())) {
    const details = form.closest("details");
    if (!details || details.open) show();
    else details.addEventListener("toggle", show, { once: true });
  }
}

// What was typed into one form is not lost unasked when another one is saved or the page is left.
const typed = new Set();
let saving = null;
const unsaved = () => [...typed].filter((form) => form !== saving);
for (const form of document.querySelectorAll('form[method="post"][data-lengths], #facts form, #new-opening form')) {
  form.addEventListener("input", () => typed.add(form));
  form.addEventListener("submit", () => (saving = form));
}
window.addEventListener("beforeunload", (event) => {
  if (unsaved().length) event.preventDefault();
  saving = null;
});

const KIND = "application/x-secondtape-photo";

// Photos: sent one by one, so that one that cannot be used does not stop the others.
async function send(form, files) {
  const state = form.querySelector(".state");
  const problems = [];
  for (const [i, file] of [...files].entries()) {
    state.textContent = `Taking in ${i + 1} of ${files.length}: ${file.name}`;
    const body = new FormData();
    body.append("json", "1");
    body.append("photos", file);
    try {
      const reply = await post(form.action, body);
      const said = reply.headers.get("content-type")?.includes("json") ? await reply.json() : { problems: [await reply.text()] };
      problems.push(...(said.problems ?? []));
    } catch {
      problems.push(`${file.name}: the desk did not answer`);
    }
  }
  if (problems.length) {
    state.textContent = problems.join(" ");
    state.classList.add("bad");
    const again = document.createElement("a");
    again.href = location.pathname;
    again.textContent = " Show the others";
    state.append(again);
  } else {
    location.hash = "photos";
    location.reload();
  }
}

const upload = document.querySelector("form[data-upload]");
if (upload) {
  const chosen = upload.querySelector("input[type=file]");
  upload.addEventListener("submit", (event) => {
    event.preventDefault();
    if (chosen.files.length) send(upload, chosen.files);
  });
  const holdsFiles = (event) => event.dataTransfer.types.includes("Files") && !event.dataTransfer.types.includes(KIND);
  document.addEventListener("dragover", (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    upload.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) upload.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    upload.classList.remove("over");
    send(upload, event.dataTransfer.files);
  });
}

// Dragging a photo onto an opening; the select under each photo does the same by keyboard.
for (const card of document.querySelectorAll("[data-photo]")) {
  for (const inner of card.querySelectorAll("a, img")) inner.draggable = false;
  card.addEventListener("dragstart", (event) => {
    event.dataTransfer.setData(KIND, card.dataset.photo);
    event.dataTransfer.effectAllowed = "move";
  });
}
for (const place of document.querySelectorAll("[data-drop]")) {
  const mine = (event) => [...event.dataTransfer.types].includes(KIND);
  place.addEventListener("dragover", (event) => {
    if (!mine(event)) return;
    event.preventDefault();
    place.classList.add("over");
  });
  place.addEventListener("dragleave", (event) => {
    if (!place.contains(event.relatedTarget)) place.classList.remove("over");
  });
  place.addEventListener("drop", async (event) => {
    if (!mine(event)) return;
    event.preventDefault();
    place.classList.remove("over");
    const body = new FormData();
    body.append("json", "1");
    body.append("photo", event.dataTransfer.getData(KIND));
    body.append("to", place.dataset.drop);
    const reply = await post(`${location.pathname}/assign`, body);
    if (reply.ok) {
      location.hash = `opening-${place.dataset.drop}`;
      location.reload();
    } else {
      const said = await reply.json().catch(() => ({ problems: ["The desk did not understand."] }));
      window.alert((said.problems ?? []).join(" "));
    }
  });
}

// The panels of the sheets are cut out only when somebody wants to see them.
for (const details of document.querySelectorAll("[data-panel]")) {
  details.addEventListener("toggle", async () => {
    if (!details.open || details.querySelector("img")) return;
    showPanel(details, details.dataset.panel, details.querySelector("p"), "No printed sheet was found in this photo.");
  });
}

// A run: asked for twice a second until what it was for can be shown.
const running = document.querySelector("[data-run]");
if (running) {
  const state = running.querySelector(".state");
  const look = async () => {
    const reply = await fetch(`/run/${running.dataset.run}`, { credentials: "same-origin" }).catch(() => null);
    if (!reply) {
      state.textContent = "The desk does not answer. Is it still running?";
      return;
    }
    const run = reply.ok ? await reply.json() : { state: "failed", error: "The desk was started anew; start it again." };
    if (run.state === "failed") {
      running.querySelector(".spin")?.remove();
      state.textContent = `That did not work: ${run.error}`;
      state.setAttribute("role", "alert");
    } else if (run.ready) {
      const target = running.dataset.then;
      if (target) location.href = target;
      else if (unsaved().length) {
        running.querySelector(".spin")?.remove();
        state.textContent = "Done. Save what you typed: the page then shows what was found.";
      }
      else location.reload();
    } else {
      const says = run.state === "waiting" ? "waiting for its turn" : run.says || "starting";
      const text = `${run.kind === "check" ? "Checking" : "Working"}: ${says} (${Math.round(run.seconds)} s)`;
      if (state.textContent !== text) state.textContent = text;
      setTimeout(look, 500);
    }
  };
  look();
}
