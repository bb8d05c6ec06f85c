// Corners over a photo: moved by mouse, finger or arrow keys, with a magnifier; their places stand in a form.

import { make } from "./viewer.js";

const NAMES = ["Top left corner", "Top right corner", "Bottom right corner", "Bottom left corner"];
const PICTURES = 190; // magnifier, screen px

export class Corners {
  constructor(viewer, form, said) {
    Object.assign(this, { viewer, form, said });
    this.layer = viewer.svg.querySelector("#corners");
    this.glass = document.getElementById("magnifier");
    this.dropped = () => {};
    const found = JSON.parse(form.dataset.found);
    const references = JSON.parse(form.dataset.foundReferences);
    this.quads = [this.#quad("c", "", found.length ? found : this.#around(0.3, 0.7))];
    // Corners that stand where nobody put them: measured with, they would give a verdict about nothing.
    this.unplaced = new Set(found.length || this.quads[0].given ? [] : [0, 1, 2, 3]);
    const count = Number(form.elements.reference_count?.value ?? 0);
    for (let i = 0; i < count; i++) {
      const start = references[i] ?? this.#around(0.04, 0.16);
      const quad = this.#quad(`r${i}`, `Reference ${i + 1}, `, start);
      // before the first check a page or card may yet be found by itself
      quad.hidden = form.dataset.checked === "no" && !quad.given;
      this.quads.push(quad);
    }
    this.#draw();
    viewer.listeners.push(() => this.place());
    this.place();
  }

  // A corner of a file of more than 60 MP is shown at half size, as it was measured.
  #shown(value) {
    return (Number(value) + 0.5) / this.viewer.reduced - 0.5;
  }

  #written(value) {
    return String(Math.round(((value + 0.5) * this.viewer.reduced - 0.5) * 10) / 10);
  }

  #around(low, high) {
    const { width, height } = this.viewer;
    return [[low, low], [high, low], [high, high], [low, high]].map(([x, y]) => [x * width, y * height]);
  }

  #quad(key, lead, start) {
    const points = NAMES.map((_, i) => {
      const [x, y] = ["x", "y"].map((axis) => this.form.elements[`${key}${i}${axis}`].value);
      return x && y ? { x: this.#shown(x), y: this.#shown(y) } : { x: start[i]?.[0], y: start[i]?.[1] };
    });
    const given = NAMES.some((_, i) => this.form.elements[`${key}${i}x`].value);
    return { key, lead, points, given };
  }

  #draw() {
    this.outlines = this.quads.map((quad) => make("polygon", { class: `quad${quad.key === "c" ? "" : " reference"}` }));
    this.layer.replaceChildren(...this.outlines);
    for (const quad of this.quads) {
      quad.handles = quad.points.map((_, i) => {
        const handle = make(
          "g",
          { class: `corner${quad.key === "c" ? "" : " reference"}`, tabindex: "0", role: "button" },
          make("circle", { class: "grip", r: 22 }),
          make("circle", { class: "halo", r: 10 }),
          make("circle", { class: "ring", r: 10 }),
          make("path", { class: "cross", d: "M-15 0h10M5 0h10M0 -15v10M0 5v10" }),
        );
        this.#listen(handle, quad, i);
        this.layer.append(handle);
        return handle;
      });
    }
  }

  // Take over what a check has found since the page was opened, where nobody has placed a corner.
  found(opening, references) {
    this.quads.forEach((quad, k) => {
      const now = k ? references[k - 1] : opening;
      if (k) quad.hidden = false;
      if (quad.given || !now?.length) return;
      quad.points = now.map(([x, y]) => ({ x: x ?? undefined, y: y ?? undefined }));
      if (!k) this.unplaced.clear();
    });
    this.place();
  }

  place() {
    const size = 1 / this.viewer.zoom;
    this.quads.forEach((quad, k) => {
      const seen = quad.hidden ? [] : quad.points.filter((p) => Number.isFinite(p.x));
      this.outlines[k].setAttribute("points", seen.map((p) => `${p.x},${p.y}`).join(" "));
      quad.points.forEach((p, i) => {
        const handle = quad.handles[i];
        const away = quad.hidden || !Number.isFinite(p.x);
        handle.toggleAttribute("hidden", away);
        if (away) return;
        handle.setAttribute("transform", `translate(${p.x} ${p.y}) scale(${size})`);
        handle.setAttribute("aria-label", this.#label(quad, i));
      });
    });
  }

  #label(quad, i) {
    const { x, y } = quad.points[i];
    return `${quad.lead}${NAMES[i]}: ${Math.round(x)} across, ${Math.round(y)} down`;
  }

  #listen(handle, quad, i) {
    let grip = null;
    let before = "";
    handle.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      handle.focus({ preventScroll: true });
      handle.setPointerCapture(event.pointerId);
      const at = this.viewer.at(event);
      grip = { dx: quad.points[i].x - at.x, dy: quad.points[i].y - at.y };
      before = this.state();
      this.magnify(quad.points[i], event);
    });
    handle.addEventListener("pointermove", (event) => {
      if (!grip) return;
      const at = this.viewer.at(event);
      this.move(quad, i, at.x + grip.dx, at.y + grip.dy);
      this.magnify(quad.points[i], event);
    });
    const end = (event) => {
      if (!grip) return;
      grip = null;
      this.glass.setAttribute("hidden", "");
      if (event.type === "pointerup" && this.state() !== before) this.dropped(before, true);
    };
    handle.addEventListener("pointerup", end);
    handle.addEventListener("pointercancel", end);
    handle.addEventListener("keydown", (event) => {
      const far = event.shiftKey ? 10 : 1;
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (way) {
        event.preventDefault();
        const was = this.state();
        this.move(quad, i, quad.points[i].x + way[0] * far, quad.points[i].y + way[1] * far);
        this.magnify(quad.points[i], null);
        this.said.textContent = this.#label(quad, i);
        this.dropped(was, false);
      } else if (event.key === "Enter" || event.key === " ") {
        event.preventDefault();
        if (quad.key === "c") this.unplaced.delete(i);
        this.dropped(this.state(), true);
      } else if (event.key === "Escape") {
        this.viewer.svg.focus();
      }
    });
    handle.addEventListener("focus", () => {
      this.#show(quad.points[i]);
      if (handle.matches(":focus-visible")) this.magnify(quad.points[i], null);
    });
    handle.addEventListener("blur", () => this.glass.setAttribute("hidden", ""));
  }

  // Bring a corner that is chosen by the keyboard into view.
  #show(point) {
    const { x, y, w, h } = this.viewer.box;
    if (point.x < x || point.x > x + w || point.y < y || point.y > y + h) this.viewer.panBy(point.x - x - w / 2, point.y - y - h / 2);
  }

  move(quad, i, x, y) {
    const { width, height } = this.viewer;
    quad.points[i] = { x: Math.min(Math.max(x, 0), width - 1), y: Math.min(Math.max(y, 0), height - 1) };
    quad.given = true;
    if (quad.key === "c") this.unplaced.delete(i);
    this.write();
    this.place();
  }

  write() {
    for (const quad of this.quads) {
      quad.points.forEach((p, i) => {
        const known = quad.given && Number.isFinite(p.x);
        this.form.elements[`${quad.key}${i}x`].value = known ? this.#written(p.x) : "";
        this.form.elements[`${quad.key}${i}y`].value = known ? this.#written(p.y) : "";
      });
    }
  }

  // Take over what was typed into the form.
  read() {
    for (const quad of this.quads) {
      quad.points = quad.points.map((p, i) => {
        const [x, y] = ["x", "y"].map((axis) => this.form.elements[`${quad.key}${i}${axis}`].value.trim());
        if (!x || !y || !Number.isFinite(Number(x)) || !Number.isFinite(Number(y))) return p;
        if (quad.key === "c") this.unplaced.delete(i);
        quad.given = true;
        return { x: this.#shown(x), y: this.#shown(y) };
      });
    }
    this.place();
  }

  state() {
    return JSON.stringify(this.quads.map(({ points, given }) => ({ points, given })));
  }

  restore(state) {
    JSON.parse(state).forEach((was, k) => Object.assign(this.quads[k], was));
    this.write();
    this.place();
  }

  // Show the surroundings of a point enlarged, away from the finger.
  magnify(point, event) {
    const { viewer, glass } = this;
    const scale = Math.max(2, 3 * viewer.zoom);
    const half = PICTURES / 2 / scale;
    const stage = viewer.svg.getBoundingClientRect();
    const at = event ? event.clientX - stage.left : ((point.x - viewer.box.x) / viewer.box.w) * stage.width;
    viewer.load({ x: point.x - half, y: point.y - half, w: 2 * half, h: 2 * half }, 1);
    glass.classList.toggle("right", at < stage.width / 2);
    glass.setAttribute("viewBox", `${point.x - half} ${point.y - half} ${2 * half} ${2 * half}`);
    if (!glass.childElementCount) {
      glass.append(make("use", { href: "#tiles" }), make("use", { href: "#drawing" }), make("path", { class: "aim" }));
    }
    const [x, y, gap] = [point.x, point.y, half / 8];
    glass.lastChild.setAttribute("d", `M${x - half} ${y}H${x - gap}M${x + gap} ${y}H${x + half}M${x} ${y - half}V${y - gap}M${x} ${y + gap}V${y + half}`);
    glass.removeAttribute("hidden");
  }
}
