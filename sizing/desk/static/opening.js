// The page of an opening: photo and corners put together, checks followed to their end, parts of the page renewed.

import { Corners } from "./corners.js";
import { showPanel } from "./panel.js";
import { Viewer } from "./viewer.js";

const progress = document.getElementById("progress");
const problems = document.getElementById("problems");
const said = document.getElementById("said");
let corners = null;
const QUICK_MS = 60;
const SLOW_MS = 400;

function complain(lines) {
  problems.replaceChildren(...lines.map((line) => Object.assign(document.createElement("p"), { textContent: line })));
  problems.hidden = lines.length === 0;
}

const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

// Wait for a run, showing where it stands; true when its answer can be shown.
async function follow(run) {
  progress.hidden = false;
  const began = performance.now();
  for (;;) {
    const reply = await fetch(`/run/${run}`);
    if (!reply.ok) break;
    const state = await reply.json();
    const text = state.state === "waiting" ? "Waiting for another check to end." : `${state.says || "The check goes on"} (${Math.round(state.seconds)} s)`;
    const says = progress.querySelector(".says");
    if (says.textContent !== text) says.textContent = text;
    if (state.state === "failed") complain([state.error]);
    if (state.ready || state.state === "failed") {
      progress.hidden = true;
      return state.state !== "failed";
    }
    await pause(performance.now() - began < 5000 ? QUICK_MS : SLOW_MS);
  }
  progress.hidden = true;
  complain(["The desk does not know this check any more. Check again."]);
  return false;
}

// Take the parts that a check changes from the page as it is now. What a comparison in the background leaves as it was is
// not said over what somebody does meanwhile.
async function renew(background = false) {
  const verdict = () => document.querySelector("#verdict-head .mark")?.textContent;
  const before = verdict();
  const page = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
  for (const part of document.querySelectorAll("[data-part]")) {
    const now = page.querySelector(`[data-part="${part.dataset.part}"]`);
    if (now) part.replaceChildren(...[...now.childNodes].map((node) => document.importNode(node, true)));
  }
  const form = page.getElementById("corner-form");
  if (form) {
    document.querySelector("#corner-form [name=sha256]").value = form.elements.sha256.value;
    corners?.found(JSON.parse(form.dataset.found), JSON.parse(form.dataset.foundReferences));
    corners?.viewer.set(corners.viewer.box); // the words of the new drawing find their room
  }
  readied();
  panels();
  if (said && verdict() && !(background && verdict() === before)) said.textContent = `Verdict: ${verdict()}`;
}

async function sent(form) {
  complain([]);
  const reply = await fetch(form.action, { method: "POST", body: new FormData(form), headers: { accept: "application/json" } });
  if (reply.status === 409) {
    form.submit(); // the desk answers with both versions of the file
    return false;
  }
  const answer = await reply.json().catch(() => ({ problems: ["The desk did not answer as it should. Open the page again."] }));
  if (answer.problems) {
    complain(answer.problems);
    return false;
  }
  if (answer.sha256) document.querySelectorAll("[name=sha256]").forEach((input) => (input.value = answer.sha256));
  if (!(await follow(answer.run))) return false;
  await renew();
  // a photo pointed at anew is then compared with the readings of all openings
  if (answer.then) follow(answer.then).then((done) => done && renew(true));
  return true;
}

async function photo() {
  const svg = document.getElementById("view");
  if (!svg) return;
  const viewer = new Viewer(svg);
  try {
    await viewer.open();
  } catch (error) {
    complain([error.message]);
    return;
  }
  const form = document.getElementById("corner-form");
  corners = new Corners(viewer, form, said);
  const moved = document.getElementById("moved");
  const says = document.getElementById("moved-says");
  let back = null;
  let applying = Promise.resolve();
  const whole = () => {
    const points = corners.quads[0].points.filter((p) => Number.isFinite(p.x));
    const [xs, ys] = [points.map((p) => p.x), points.map((p) => p.y)];
    const [x, y] = [Math.min(...xs), Math.min(...ys)];
    const rim = 0.12 * Math.max(Math.max(...xs) - x, Math.max(...ys) - y);
    viewer.set({ x: x - rim, y: y - rim, w: Math.max(...xs) - x + 2 * rim, h: Math.max(...ys) - y + 2 * rim });
  };
  const apply = () => {
    const mine = corners.state();
    applying = applying.then(async () => {
      if (corners.state() !== mine) return; // moved again since: that one counts
      says.textContent = "Tracing and measuring.";
      says.textContent = (await sent(form)) ? "Measured with these corners." : "Not measured.";
    });
  };
  corners.dropped = (before, ended) => {
    back ??= before;
    moved.hidden = false;
    const left = corners.unplaced.size;
    says.textContent = left ? `Corners still to be placed: ${left}.` : "Corners moved.";
    if (ended && !left) apply();
  };
  const acts = {
    in: () => viewer.zoomBy(1.5),
    out: () => viewer.zoomBy(1 / 1.5),
    fit: () => viewer.fit(),
    opening: whole,
    apply,
    undo: () => {
      if (back === null) return;
      corners.restore(back);
      back = null;
      apply();
    },
  };
  document.addEventListener("click", (event) => acts[event.target.closest("[data-do]")?.dataset.do]?.());
  for (const box of document.querySelectorAll("[data-layer]")) {
    box.addEventListener("change", () => svg.classList.toggle(`no-${box.dataset.layer}`, !box.checked));
  }
  form.addEventListener("change", () => corners.read());
  // it stands beside the photo, outside the form's own table, and holds for the corners as they are
  form.elements.click_px.addEventListener("change", () => {
    moved.hidden = false;
    says.textContent = "Not measured with this yet.";
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    sent(form);
  });
  const pointed = corners.quads[0].given || JSON.parse(form.dataset.found).length;
  // a page or card that was neither found nor pointed at is to be pointed at: all of the photo stays in view
  const sought = corners.quads.length > 1 && !corners.quads[1].given && !JSON.parse(form.dataset.foundReferences).length;
  if (pointed && !sought) whole();
}

// What needs no photo: copy, pictures that are drawn when asked for, the name of who decides.
document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy]");
  if (!button) return;
  const source = document.getElementById(button.dataset.copy);
  const note = button.parentElement.querySelector(".copied");
  try {
    await navigator.clipboard.writeText(source.textContent);
    note.textContent = "Copied.";
  } catch {
    getSelection().selectAllChildren(source);
    note.textContent = "Marked: press Ctrl+C.";
  }
});
document.addEventListener("toggle", (event) => {
  for (const image of event.target.querySelectorAll?.("img[data-later]") ?? []) {
    if (!event.target.open || image.src) continue;
    const says = event.target.querySelector("[data-while]");
    for (const kind of ["load", "error"]) image.addEventListener(kind, () => says?.remove());
    image.src = image.dataset.later;
  }
}, true);
document.addEventListener("error", (event) => {
  const text = event.target.dataset?.else;
  if (text) event.target.replaceWith(Object.assign(document.createElement("p"), { textContent: text }));
}, true);
document.addEventListener("submit", async (event) => {
  const does = event.target.querySelector("[name=do]")?.value;
  if (does === "check" || does === "line") {
    event.preventDefault();
    if ((await sent(event.target)) && does === "line") location.reload();
  }
});
document.addEventListener("change", (event) => {
  if (event.target.name === "choice") {
    document.getElementById("risk").required = event.target.value === "override";
    const right = document.querySelector("input[name=right]");
    if (right) right.required = event.target.value === "send";
  }
  if (event.target.name === "by") localStorage.setItem("desk-name", event.target.value);
});

// What stands on the sheets: fetched once, since the decision's part is renewed with every check.
const panelsShown = new Map();
function panels() {
  for (const place of document.querySelectorAll("[data-panel-of]")) {
    const address = place.dataset.panelOf;
    if (panelsShown.has(address)) place.replaceWith(panelsShown.get(address));
    else {
      panelsShown.set(address, place);
      showPanel(place, address, place.querySelector("p"), place.dataset.else);
    }
  }
}

function readied() {
  const by = document.getElementById("by");
  if (by && !by.value) by.value = localStorage.getItem("desk-name") ?? "";
}

readied();
panels();
photo().finally(() => fetch("/warm"));

if (progress?.dataset.run) {
  follow(progress.dataset.run).then((done) => (document.getElementById("view") ? done && renew() : location.reload()));
}
