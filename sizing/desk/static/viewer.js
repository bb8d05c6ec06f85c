// A photo of any size in an SVG: tiles that we encoded, zoom and pan by wheel, fingers, keys and buttons.
// Coordinates are pixels of the photo as it was measured, pixel centres at integers.

const NS = "http://www.w3.org/2000/svg";
const TILE = 1024;
const MOST_TILES = 90;
const CLOSEST = 12; // screen px a photo px

export function make(name, attributes = {}, ...children) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

export class Viewer {
  constructor(svg) {
    this.svg = svg;
    this.tiles = svg.querySelector("#tiles");
    this.shown = new Map();
    this.listeners = [];
    this.job = svg.dataset.job.split("/").map(encodeURIComponent).join("/");
    this.ask = new URLSearchParams({ file: svg.dataset.file, turn: svg.dataset.turn });
  }

  async open() {
    const reply = await fetch(`/tile-facts/${this.job}?${this.ask}`);
    if (!reply.ok) throw new Error("This photo cannot be shown. Open it on the job's page to see what is wrong with it.");
    const facts = await reply.json();
    [this.width, this.height] = facts.size;
    this.reduced = facts.reduced;
    this.scales = facts.scales;
    this.fit();
    new ResizeObserver(() => this.set(this.box)).observe(this.svg);
    this.#listen();
  }

  // Screen px a photo px.
  get zoom() {
    return this.svg.clientWidth / this.box.w;
  }

  fit() {
    this.set({ x: -0.5, y: -0.5, w: this.width, h: this.height });
  }

  // Show a box of the photo, grown to the shape of the window onto it.
  set(box) {
    if (!this.svg.clientWidth) return; // the page is being left
    const shape = this.svg.clientWidth / Math.max(1, this.svg.clientHeight);
    const least = this.svg.clientWidth / CLOSEST;
    let w = Math.max(box.w, box.h * shape, least);
    const whole = Math.max(this.width, this.height * shape);
    w = Math.min(w, whole);
    const h = w / shape;
    const middle = { x: box.x + box.w / 2, y: box.y + box.h / 2 };
    const within = (at, half, size) => (half * 2 >= size ? (size - 1) / 2 : Math.min(Math.max(at, half - 0.5), size - 0.5 - half));
    const x = within(middle.x, w / 2, this.width) - w / 2;
    const y = within(middle.y, h / 2, this.height) - h / 2;
    this.box = { x, y, w, h };
    this.svg.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
    this.svg.classList.toggle("near", w < whole * 0.98);
    // under so many screen px the opening has no room for the words of all its measures
    const wide = this.svg.querySelector("#drawing .sides")?.getBBox().width ?? 0;
    this.svg.classList.toggle("small", this.svg.clientWidth < 480 || (wide > 0 && wide * this.zoom < 220));
    this.svg.querySelector("#drawing").setAttribute("font-size", 13 / this.zoom);
    this.declutter();
    const screen = this.zoom * (window.devicePixelRatio || 1);
    const scale = this.scales.find((s) => s * screen <= 1.05) ?? 1;
    this.load(this.box, this.scales[0]);
    this.load(this.box, scale);
    this.listeners.forEach((listener) => listener(this));
  }

  // Words that would stand on others are left out until there is room; those of what differs come first.
  declutter() {
    const texts = [...this.svg.querySelectorAll("#drawing .words text")];
    texts.sort((a, b) => b.classList.contains("differs") - a.classList.contains("differs"));
    texts.forEach((text) => text.classList.remove("crowded"));
    const boxes = texts.map((text) => this.#intoView(text));
    const shown = [];
    texts.forEach((text, i) => {
      const box = boxes[i];
      const over = (other) =>
        box.x < other.x + other.width && other.x < box.x + box.width && box.y < other.y + other.height && other.y < box.y + box.height;
      if (shown.some(over)) text.classList.add("crowded");
      else if (box.width) shown.push(box);
    });
  }

  // Words that the rim of the window would cut are moved in, as far as their place is in view; return their box.
  #intoView(text) {
    text.removeAttribute("transform");
    const box = text.getBBox();
    const rim = 4 / this.zoom;
    const [x, y] = [Number(text.getAttribute("x")), Number(text.getAttribute("y"))];
    const seen = x >= this.box.x && x <= this.box.x + this.box.w && y >= this.box.y && y <= this.box.y + this.box.h;
    if (!box.width || !seen) return box;
    const shift = (at, size, from, room) => Math.max(from + rim - at, Math.min(0, from + room - rim - at - size));
    const dx = shift(box.x, box.width, this.box.x, this.box.w);
    const dy = shift(box.y, box.height, this.box.y, this.box.h);
    if (dx || dy) text.setAttribute("transform", `translate(${dx} ${dy})`);
    return { x: box.x + dx, y: box.y + dy, width: box.width, height: box.height };
  }

  zoomBy(factor, at = { x: this.box.x + this.box.w / 2, y: this.box.y + this.box.h / 2 }) {
    const { x, y, w, h } = this.box;
    this.set({ x: at.x - (at.x - x) / factor, y: at.y - (at.y - y) / factor, w: w / factor, h: h / factor });
  }

  panBy(dx, dy) {
    this.set({ ...this.box, x: this.box.x + dx, y: this.box.y + dy });
  }

  // Put the tiles of one scale into the picture that a box needs.
  load(box, scale) {
    const coarsest = scale === this.scales[0];
    const step = coarsest ? 1600 : TILE;
    const [lw, lh] = [Math.ceil(this.width / scale), Math.ceil(this.height / scale)];
    const [sx, sy] = [this.width / lw, this.height / lh];
    const first = (at, s) => Math.max(0, Math.floor((at + 0.5) / s / step));
    const last = (at, s, size) => Math.min(Math.ceil(size / step) - 1, Math.floor((at + 0.5) / s / step));
    for (let row = first(box.y, sy); row <= last(box.y + box.h, sy, lh); row++) {
      for (let column = first(box.x, sx); column <= last(box.x + box.w, sx, lw); column++) {
        const key = `${scale}-${column}-${row}`;
        if (this.shown.has(key)) continue;
        const image = make("image", {
          href: `/tiles/${this.job}?${this.ask}&scale=${scale}&column=${column}&row=${row}`,
          x: column * step * sx - 0.5,
          y: row * step * sy - 0.5,
          width: Math.min(step, lw - column * step) * sx,
          height: Math.min(step, lh - row * step) * sy,
          preserveAspectRatio: "none",
        });
        image.dataset.scale = scale;
        this.shown.set(key, image);
        const finer = [...this.tiles.children].find((other) => Number(other.dataset.scale) < scale);
        this.tiles.insertBefore(image, finer ?? null);
      }
    }
    for (const [key, image] of this.shown) {
      if (this.shown.size <= MOST_TILES) break;
      if (Number(image.dataset.scale) === this.scales[0]) continue;
      image.remove();
      this.shown.delete(key);
    }
  }

  // Where an event of mouse, pen or finger is in the photo.
  at(event) {
    const place = this.svg.getBoundingClientRect();
    return {
      x: this.box.x + ((event.clientX - place.left) / place.width) * this.box.w,
      y: this.box.y + ((event.clientY - place.top) / place.height) * this.box.h,
    };
  }

  #listen() {
    const { svg } = this;
    const fingers = new Map();
    svg.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== svg && !svg.contains(document.activeElement)) return;
      event.preventDefault();
      this.zoomBy(Math.exp(-Math.max(-240, Math.min(240, event.deltaY)) / 400), this.at(event));
    }, { passive: false });
    svg.addEventListener("pointerdown", (event) => {
      if (event.target.closest(".corner")) return;
      fingers.set(event.pointerId, event);
      if (event.pointerType === "mouse" || svg.classList.contains("near") || fingers.size > 1) svg.setPointerCapture(event.pointerId);
    });
    svg.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      if (fingers.size === 1) {
        this.panBy((before.clientX - event.clientX) / this.zoom, (before.clientY - event.clientY) / this.zoom);
      } else {
        const other = [...fingers.values()].find((f) => f.pointerId !== event.pointerId);
        const apart = (f) => Math.hypot(f.clientX - other.clientX, f.clientY - other.clientY);
        const middle = { clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 };
        this.zoomBy(apart(event) / Math.max(1, apart(before)), this.at(middle));
      }
      fingers.set(event.pointerId, event);
    });
    for (const kind of ["pointerup", "pointercancel"]) svg.addEventListener(kind, (event) => fingers.delete(event.pointerId));
    svg.addEventListener("dblclick", (event) => {
      if (!event.target.closest(".corner")) this.zoomBy(2, this.at(event));
    });
    svg.addEventListener("keydown", (event) => {
      if (event.target !== svg || event.ctrlKey || event.metaKey || event.altKey) return;
      const step = 60 / this.zoom;
      const keys = {
        ArrowLeft: () => this.panBy(-step, 0),
        ArrowRight: () => this.panBy(step, 0),
        ArrowUp: () => this.panBy(0, -step),
        ArrowDown: () => this.panBy(0, step),
        "+": () => this.zoomBy(1.4),
        "=": () => this.zoomBy(1.4),
        "-": () => this.zoomBy(1 / 1.4),
        0: () => this.fit(),
      };
      const act = keys[event.key];
      if (!act) return;
      event.preventDefault();
      act();
    });
  }
}
