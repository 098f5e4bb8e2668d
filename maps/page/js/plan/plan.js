// @ts-check
/** The map: a canvas that is redrawn whole in every frame, over Leaflet's pan and zoom. Its content is also a table. */
import { announce, el, style } from "../dom.js";
import { say } from "../words.js";
import { drawLabels, drawScene } from "./draw.js";
import { bestView } from "./fit.js";
import { Furniture } from "./furniture.js";
import { Finder, metreAt, originAt, ringsOf, treeSet } from "./ground.js";
import { placeLabels } from "./labels.js";
import { colours, patterns } from "./pens.js";
import { blockShapes, keepOutShapes, linkedOf, middleBearing, runShapes, somewhere, spotMarks } from "./scene.js";
import { step } from "./steps.js";
import { openTable } from "./table.js";
import { treeWords } from "./tell.js";

const REACH_PX = 22;

export class Plan {
  /** @param {HTMLElement} element @param {{state: typeof import("../state.js").state}} ctx */
  constructor(element, { state }) {
    this.element = element;
    this.state = state;
    this.box = el("div", { class: "plan-map", tabindex: "0", role: "application", "aria-label": say("plan.label") });
    this.canvas = el("canvas", { class: "plan-canvas" });
    element.append(this.box);
    /** Leaflet's map; the drawing tools of Ground work on it. */
    this.map = L.map(this.box, {
      zoomControl: false, attributionControl: false, keyboard: false, zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false,
      zoomSnap: 0, zoomDelta: 0.5, wheelPxPerZoomLevel: 120, minZoom: 2, maxZoom: 23, doubleClickZoom: false, center: [0, 0], zoom: 2,
      inertia: !matchMedia("(prefers-reduced-motion: reduce)").matches, worldCopyJump: false,
    });
    const pane = this.map.createPane("plan");
    pane.style.zIndex = "350";
    pane.append(this.canvas);
    this.pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    this.furniture = new Furniture(element, { zoomIn: () => this.zoom(0.5), zoomOut: () => this.zoom(-0.5), fit: () => this.fit(), table: () => openTable(state) });
    /** @type {import("./ground.js").Origin} */
    this.origin = originAt(0, 0);
    /** @type {import("./draw.js").Scene} */
    this.scene = { blocks: [], keepOuts: [], set: null, paints: null, coloured: false, faded: null, rows: [], beaten: [], runs: [], changed: [], spots: [], labels: [], linked: null, hidden: null };
    /** @type {((i: number) => import("./draw.js").Paint) | null} */
    this.painter = null;
    this.runs = null;
    this.spots = null;
    this.at = -1;
    this.moved = false;
    this.pointing = true;
    /** What others lay over the map in each frame (rows while they are tried out, grips). @type {Set<(pen: CanvasRenderingContext2D, v: import("./ground.js").View, c: Record<string, string>) => void>} */
    this.overlays = new Set();
    this.frame = 0;
    this.look();
    this.listen();
  }

  listen() {
    const { state, map } = this;
    for (const key of ["blocks", "keepOuts", "trees", "rows", "grove"]) state.on(key, () => this.read());
    for (const key of ["selection", "preview"]) state.on(key, () => this.link());
    for (const key of ["pressure", "place", "walk", "band"]) state.on(key, () => this.repaint());
    state.on("light", () => { this.look(); this.draw(); });
    map.on("move zoom viewreset resize", () => this.draw());
    map.on("moveend zoomend", () => { this.settle = true; this.draw(); });
    map.on("mousemove", (/** @type {any} */ event) => this.point(event));
    map.on("mouseout", () => { this.furniture.setWhere(null); if (this.pointing) state.preview(null); });
    map.on("click", (/** @type {any} */ event) => this.click(event));
    this.box.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => this.key(event));
    for (const kind of ["mousedown", "touchstart", "wheel"]) this.box.addEventListener(kind, () => { this.moved = true; }, { passive: true });
    new ResizeObserver(() => { map.invalidateSize({ animate: false, pan: false }); if (!this.moved) this.fit(); this.settle = true; this.draw(); }).observe(this.element);
  }

  /** Read colours anew, after the light has changed. */
  look() {
    this.colours = colours();
    this.patterns = patterns(this.pen, window.devicePixelRatio || 1, this.colours);
  }

  /** The state's layers, made flat. */
  read() {
    const { state, scene } = this;
    const place = somewhere(state);
    if (place && Math.hypot(place[0] - this.origin.lon, place[1] - this.origin.lat) > 0.05) this.origin = originAt(place[0], place[1]);
    const trees = state.get("trees");
    scene.blocks = blockShapes(state.get("blocks"), this.origin);
    scene.keepOuts = keepOutShapes(state.get("keepOuts"), this.origin);
    scene.set = trees ? treeSet(trees, this.origin) : null;
    scene.rows = (state.get("rows")?.features ?? []).flatMap((/** @type {any} */ one) => ringsOf(one.geometry, this.origin));
    this.finder = scene.set ? new Finder(scene.set) : null;
    this.at = -1;
    const bearings = (state.get("blocks")?.features ?? []).map((/** @type {any} */ one) => one.properties.uphill_bearing_deg).filter((/** @type {any} */ b) => b !== null && b !== undefined);
    this.furniture.setUphill(state.get("grove")?.uphill_bearing_deg ?? middleBearing(bearings));
    if (!this.moved) this.fit();
    this.repaint();
  }

  /** Colour the trees anew. @param {((i: number) => import("./draw.js").Paint) | null} painter */
  setPainter(painter) {
    this.painter = painter;
    this.repaint();
  }

  repaint() {
    const { scene, state } = this;
    const place = state.get("place");
    const pressure = state.get("pressure");
    const plain = { fill: null, hatch: /** @type {const} */ ("none") };
    const fits = place !== "ground" && this.painter && (!pressure || pressure.trees === scene.set?.n);
    const painter = fits ? /** @type {(i: number) => import("./draw.js").Paint} */ (this.painter) : () => plain;
    scene.paints = scene.set ? Array.from({ length: scene.set.n }, (_none, i) => painter(i)) : null;
    scene.coloured = Boolean(scene.paints?.some((paint) => paint.fill !== null || paint.hatch !== "none"));
    const band = place === "ground" ? null : state.get("band");
    const upslope = state.get("trees")?.columns.upslope_m ?? [];
    scene.faded = band ? upslope.map((/** @type {number | null} */ metres) => metres === null || metres < band.from || metres > band.to) : null;
    scene.beaten = [];
    if (scene.coloured && pressure) pressure.columns.beaten.forEach((/** @type {number} */ times, /** @type {number} */ i) => { if (times) scene.beaten.push(i); });
    scene.runs = place === "ground" ? [] : runShapes(this.runs, scene.set, !scene.coloured);
    scene.spots = place === "ground" ? [] : spotMarks(this.spots, this.origin, scene.blocks, scene.set?.metre ?? 0);
    this.settle = true;
    this.link();
  }

  /** Show runs. @param {any} collection FeatureCollection or null. @param {{added?: string[], dropped?: string[]}} [changes] Uuids of trees. */
  setRuns(collection, { added = [], dropped = [] } = {}) {
    this.runs = collection;
    const indexed = (/** @type {string[]} */ those, /** @type {string} */ kind) => those.map((tree) => ({ index: this.scene.set?.tree.indexOf(tree) ?? -1, kind })).filter(({ index }) => index >= 0);
    this.scene.changed = [...indexed(added, "added"), ...indexed(dropped, "dropped")];
    this.repaint();
  }

  /** Show the ranks of hot spots. @param {any} collection FeatureCollection or null. */
  setSpots(collection) {
    this.spots = collection;
    this.repaint();
  }

  /** Leave a block out because something else draws it now. @param {string | null} id */
  hide(id) {
    this.scene.hidden = id;
    this.draw();
  }

  link() {
    this.scene.linked = linkedOf(this.state.shown(), this.scene.set, this.scene.blocks, this.runs);
    this.draw();
  }

  /** Bring the grove, or a box of it, into view. @param {[number, number, number, number]} [bounds] West, south, east, north. */
  fit(bounds) {
    const box = bounds ?? this.state.get("grove")?.bounds;
    const { clientWidth: width, clientHeight: height } = this.element;
    if (!box || !width || !height) return;
    const view = bounds ? null : bestView(this.scene.blocks.map((block) => block.rings[0] ?? []), this.taken(), width, height);
    if (view) {
      const middle = L.point((width / 2 - view.dx) / view.scale + this.origin.x, (height / 2 - view.dy) / view.scale + this.origin.y);
      this.map.setView(this.map.unproject(middle, 0), Math.log2(view.scale), { animate: false });
    } else this.map.fitBounds([[box[1], box[0]], [box[3], box[2]]], { padding: [28, 28], animate: false, maxZoom: 21 });
    if (!bounds) this.moved = false;
  }

  /** Controls were laid on the map or taken off: what was fitted is fitted anew, names look for new places. */
  room() {
    if (!this.moved) this.fit();
    this.settle = true;
    this.draw();
  }

  /** Bring a tree into view where it is out of it. @param {string | number} tree Uuid or index. */
  bring(tree) {
    const { set } = this.scene;
    const i = typeof tree === "number" ? tree : set?.tree.indexOf(tree) ?? -1;
    if (!set || i < 0) return;
    const v = this.view();
    const [x, y] = [set.centres[2 * i] * v.scale + v.dx, set.centres[2 * i + 1] * v.scale + v.dy];
    if (x < 30 || y < 30 || x > v.width - 30 || y > v.height - 30) this.map.panBy([x - v.width / 2, y - v.height / 2], { animate: false });
  }

  /** @param {number} by Levels. */
  zoom(by) {
    this.moved = true;
    this.map.setZoom(this.map.getZoom() + by, { animate: false });
  }

  /** @returns {import("./ground.js").View} */
  view() {
    const { map, origin } = this;
    const size = map.getSize();
    const at = map.project([origin.lat, origin.lon], map.getZoom()).subtract(map.getPixelOrigin()).add(L.DomUtil.getPosition(map.getPanes().mapPane) ?? L.point(0, 0));
    return { scale: 2 ** map.getZoom(), dx: at.x, dy: at.y, width: size.x, height: size.y };
  }

  /** Ask for a frame; many asks make one. */
  draw() {
    if (this.frame) return;
    this.frame = requestAnimationFrame(() => { this.frame = 0; this.drawNow(); });
  }

  drawNow() {
    const v = this.view();
    if (!v.width || !v.height) return;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    if (this.canvas.width !== Math.round(v.width * ratio) || this.canvas.height !== Math.round(v.height * ratio)) {
      this.canvas.width = Math.round(v.width * ratio);
      this.canvas.height = Math.round(v.height * ratio);
      style(this.canvas, { width: `${v.width}px`, height: `${v.height}px` });
    }
    L.DomUtil.setPosition(this.canvas, this.map.containerPointToLayerPoint([0, 0]));
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    drawScene(this.pen, this.scene, v, this.colours ?? {}, this.patterns ?? {});
    for (const overlay of this.overlays) overlay(this.pen, v, this.colours ?? {});
    if (this.settle) {
      this.settle = false;
      this.scene.labels = placeLabels(this.pen, this.scene, v, this.taken());
      this.settled = v;
      this.furniture.setScale(v.scale * metreAt(this.map.getCenter().lat), v.width);
    }
    const was = this.settled ?? v;
    // While the map is being moved, names ride along; they find new places when it rests.
    if (was.scale === v.scale) drawLabels(this.pen, this.scene.labels.map((label) => ({ ...label, x: label.x + v.dx - was.dx, y: label.y + v.dy - was.dy })), v, this.colours ?? {});
    this.element.dataset.frames = String(Number(this.element.dataset.frames ?? 0) + 1);
  }

  /** What names must not cover. @returns {import("./labels.js").Box[]} */
  taken() {
    const own = this.element.getBoundingClientRect();
    return [...this.element.querySelectorAll(".plan-north, .plan-scale, .plan-controls, .plan-foot > *, .plan-tools > *")].map((node) => {
      const box = node.getBoundingClientRect();
      return { x: box.left - own.left - 4, y: box.top - own.top - 4, w: box.width + 8, h: box.height + 8 };
    });
  }

  /** @param {any} event @returns {number} Index of the tree under a pointer, or -1. */
  under(event) {
    if (!this.finder) return -1;
    const v = this.view();
    const { x, y } = event.containerPoint;
    return this.finder.at((x - v.dx) / v.scale, (y - v.dy) / v.scale, Math.max(4 * (this.scene.set?.metre ?? 0), REACH_PX / v.scale / 2));
  }

  /** @param {any} event */
  point(event) {
    this.furniture.setWhere(event.latlng.lng, event.latlng.lat);
    if (!this.pointing) return;
    const i = this.under(event);
    this.state.preview(i < 0 ? null : this.selectionOf(i));
    if (i >= 0) this.tell("treepoint", i);
  }

  /** @param {any} event */
  click(event) {
    if (!this.pointing) return;
    const i = this.under(event);
    if (i < 0) this.state.choose(null);
    else this.choose(i);
  }

  /** @param {number} i */
  choose(i) {
    this.at = i;
    this.state.choose(this.selectionOf(i));
    announce(this.words(i));
    this.tell("treechoose", i);
  }

  /** @param {string} name @param {number} index */
  tell(name, index) {
    this.element.dispatchEvent(new CustomEvent(name, { bubbles: true, detail: { index, tree: this.scene.set?.tree[index] } }));
  }

  /** @param {number} i */
  selectionOf(i) {
    const set = /** @type {import("./ground.js").TreeSet} */ (this.scene.set);
    return { block: set.names[set.block[i]], row: set.row[i], tree: set.tree[i] };
  }

  /** @param {number} i */
  words(i) {
    return treeWords(this.state, /** @type {import("./ground.js").TreeSet} */ (this.scene.set), i);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const { set } = this.scene;
    if (event.key === "+" || event.key === "=") this.zoom(0.5);
    else if (event.key === "-") this.zoom(-0.5);
    else if (event.key === "0") { this.fit(); announce(say("plan.fitted")); }
    else if (event.key === "Enter" && this.at >= 0) this.choose(this.at);
    else if (event.key === " " && this.at >= 0) this.tell("treetoggle", this.at);
    else if (!/^(Arrow|Page|Home|End)/.test(event.key)) return;
    else if (!set?.n) announce(say("plan.noTrees"));
    else this.walk(event.key);
    event.preventDefault();
  }

  /** @param {string} key */
  walk(key) {
    const set = /** @type {import("./ground.js").TreeSet} */ (this.scene.set);
    const to = step(set, this.at, key);
    if (to === null) return announce(say("plan.edge"));
    this.at = to;
    this.state.preview(this.selectionOf(to));
    this.tell("treepoint", to);
    this.bring(to);
    return announce(this.words(to));
  }
}
