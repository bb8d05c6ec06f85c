// Boxes over a photo: pulled by mouse or finger, moved by their corners with the keys; the numbers stand in a form.

import { Viewer, make } from "./viewer.js";

const svg = document.getElementById("view");
const form = document.getElementById("box-form");
const problems = document.getElementById("problems");
const said = document.getElementById("said");
const KEYS = ["x0", "y0", "x1", "y1"];
const CORNERS = [["x0", "y0", "Top left corner"], ["x1", "y1", "Bottom right corner"]];
const LEAST = 4; // screen px; less was a slip of the finger

class Boxes {
  constructor(viewer) {
    this.viewer = viewer;
    this.layer = svg.querySelector("#corners");
    this.button = document.querySelector("[data-do=draw]");
    this.shape = make("rect", { class: "fresh", hidden: "" });
    this.layer.append(this.shape);
    this.handles = CORNERS.map(([x, y, name]) => this.#handle(x, y, name));
    this.#standing();
    this.#drawing();
    KEYS.forEach((key) => form.elements[key].addEventListener("input", () => this.place()));
    viewer.listeners.push(() => this.place());
    this.place();
  }

  // A file of more than 60 MP is shown at half size; the form holds pixels of the file.
  shown(value) {
    return (Number(value) + 0.5) / this.viewer.reduced - 0.5;
  }

  // Boxes that stand already are drawn by the page in pixels of the file.
  #standing() {
    for (const shape of svg.querySelectorAll("#drawing .obstacle, #drawing .blank")) {
      for (const key of ["points", "x", "y"]) {
        const text = shape.getAttribute(key);
        if (text) shape.setAttribute(key, text.replace(/-?[0-9.]+/g, (value) => this.shown(value)));
      }
    }
  }

  // The box of the form in pixels as shown, null while one of its numbers is missing.
  get box() {
    const box = Object.fromEntries(KEYS.map((key) => [key, form.elements[key].value.trim() === "" ? NaN : this.shown(form.elements[key].value)]));
    return KEYS.every((key) => Number.isFinite(box[key])) ? box : null;
  }

  set(box) {
    const { width, height, reduced } = this.viewer;
    const clip = (value, size) => String(Math.round((Math.min(Math.max(value, 0), size - 1) + 0.5) * reduced - 0.5));
    for (const key of KEYS) form.elements[key].value = clip(box[key], key.startsWith("x") ? width : height);
    this.place();
  }

  place() {
    const box = this.box;
    this.shape.toggleAttribute("hidden", !box);
    this.handles.forEach((handle) => handle.toggleAttribute("hidden", !box));
    if (!box) return;
    const [x, y] = [Math.min(box.x0, box.x1), Math.min(box.y0, box.y1)];
    const sizes = { x, y, width: Math.abs(box.x1 - box.x0), height: Math.abs(box.y1 - box.y0) };
    for (const [key, value] of Object.entries(sizes)) this.shape.setAttribute(key, value);
    const size = 1 / this.viewer.zoom;
    CORNERS.forEach(([kx, ky, name], i) => {
      this.handles[i].setAttribute("transform", `translate(${box[kx]} ${box[ky]}) scale(${size})`);
      this.handles[i].setAttribute("aria-label", `${name} of the box: ${form.elements[kx].value} across, ${form.elements[ky].value} down`);
    });
  }

  draws(on) {
    svg.classList.toggle("draws", on);
    this.button.setAttribute("aria-pressed", String(on));
    this.button.textContent = on ? "Pull over the photo now" : "Draw a box";
  }

  say() {
    const [x0, y0, x1, y1] = KEYS.map((key) => form.elements[key].value);
    said.textContent = `Box from ${x0} to ${x1} across, ${y0} to ${y1} down. Say what it is and save it.`;
  }

  // While drawing, the photo does not move: what the viewer would do with a finger is kept from it.
  #drawing() {
    let from = null;
    let finger = null;
    svg.addEventListener("pointerdown", (event) => {
      if (!svg.classList.contains("draws") || event.target.closest(".corner")) return;
      event.stopImmediatePropagation();
      event.preventDefault();
      if (from || event.button !== 0) return;
      from = this.viewer.at(event);
      finger = event.pointerId;
      svg.setPointerCapture(finger);
    }, { capture: true });
    const pulled = (event) => {
      const to = this.viewer.at(event);
      this.set({ x0: Math.min(from.x, to.x), y0: Math.min(from.y, to.y), x1: Math.max(from.x, to.x), y1: Math.max(from.y, to.y) });
      return Math.min(Math.abs(to.x - from.x), Math.abs(to.y - from.y)) * this.viewer.zoom;
    };
    svg.addEventListener("pointermove", (event) => {
      if (event.pointerId === finger) pulled(event);
    });
    svg.addEventListener("pointerup", (event) => {
      if (event.pointerId !== finger) return;
      const large = pulled(event) >= LEAST;
      from = finger = null;
      if (!large) {
        for (const key of KEYS) form.elements[key].value = "";
        this.place();
        said.textContent = "That was too small for a box. Pull it once more.";
        return;
      }
      this.draws(false);
      this.say();
    });
    svg.addEventListener("pointercancel", () => (from = finger = null));
  }

  #handle(kx, ky, name) {
    const handle = make(
      "g",
      { class: "corner", tabindex: "0", role: "button", hidden: "", "aria-label": name },
      make("circle", { class: "grip", r: 22 }),
      make("circle", { class: "halo", r: 10 }),
      make("circle", { class: "ring", r: 10 }),
    );
    const move = (x, y) => {
      const box = this.box;
      const gap = 1;
      if (kx === "x0") this.set({ ...box, x0: Math.min(x, box.x1 - gap), y0: Math.min(y, box.y1 - gap) });
      else this.set({ ...box, x1: Math.max(x, box.x0 + gap), y1: Math.max(y, box.y0 + gap) });
    };
    let grip = null;
    handle.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      handle.focus({ preventScroll: true });
      handle.setPointerCapture(event.pointerId);
      const at = this.viewer.at(event);
      grip = { dx: this.box[kx] - at.x, dy: this.box[ky] - at.y };
    });
    handle.addEventListener("pointermove", (event) => {
      if (!grip) return;
      const at = this.viewer.at(event);
      move(at.x + grip.dx, at.y + grip.dy);
    });
    for (const kind of ["pointerup", "pointercancel"]) handle.addEventListener(kind, () => (grip = null));
    handle.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const far = event.shiftKey ? 10 : 1;
      move(this.box[kx] + way[0] * far, this.box[ky] + way[1] * far);
      said.textContent = handle.getAttribute("aria-label");
    });
    this.layer.append(handle);
    return handle;
  }
}

function named() {
  const blank = form.elements.kind.value === "blank";
  form.elements.what.required = !blank;
  document.getElementById("what-field").toggleAttribute("hidden", blank);
}

async function start() {
  const viewer = new Viewer(svg);
  try {
    await viewer.open();
  } catch (error) {
    problems.replaceChildren(Object.assign(document.createElement("p"), { textContent: error.message }));
    problems.hidden = false;
    return;
  }
  const boxes = new Boxes(viewer);
  const middle = () => {
    const { x, y, w, h } = viewer.box;
    boxes.set({ x0: x + 0.4 * w, y0: y + 0.4 * h, x1: x + 0.6 * w, y1: y + 0.6 * h });
    boxes.draws(false);
    boxes.handles[0].focus({ preventScroll: true });
    boxes.say();
  };
  const acts = {
    in: () => viewer.zoomBy(1.5),
    out: () => viewer.zoomBy(1 / 1.5),
    fit: () => viewer.fit(),
    draw: () => boxes.draws(!svg.classList.contains("draws")),
    middle,
  };
  document.addEventListener("click", (event) => acts[event.target.closest("[data-do]")?.dataset.do]?.());
  document.addEventListener("keydown", (event) => event.key === "Escape" && boxes.draws(false));
}

if (svg) {
  form.addEventListener("change", named);
  named();
  start();
}
