// @ts-check
/** The drawing library (Leaflet-Geoman, MIT edition) behind our own buttons and keys. It is fetched when something is first drawn. */
import { el } from "../dom.js";
import { Keys } from "./keys.js";

/** @typedef {import("./geo.js").LonLat} LonLat
 * @typedef {{change(corners: LonLat[], cursor: LonLat | null): void, done(corners: LonLat[]): void, stop(): void}} Draws
 * @typedef {{change(corners: LonLat[]): void, settled?(corners: LonLat[]): void}} Edits */

/** @type {Promise<void> | null} */
let loading = null;

/** Fetch the library once. @returns {Promise<void>} */
function library() {
  loading ??= new Promise((resolve, reject) => {
    document.head.append(el("link", { rel: "stylesheet", href: "/lib/leaflet-geoman/leaflet-geoman.css" }));
    document.head.append(el("script", { src: "/lib/leaflet-geoman/leaflet-geoman.js", onload: () => resolve(), onerror: () => { loading = null; reject(new Error("leaflet-geoman.js")); } }));
  });
  return loading;
}

const LOOK = { className: "ground-shape", weight: 2, fillOpacity: 0.001 };
const LINE = { className: "ground-line", weight: 2 };
const HINT = { className: "ground-hint", weight: 2, dashArray: "7 6" };
const SNAP_PX = 12;

/** @param {any} latlngs @returns {LonLat[]} */
const plain = (latlngs) => (Array.isArray(latlngs[0]) ? latlngs[0] : latlngs).map((/** @type {any} */ one) => [one.lng, one.lat]);
/** @param {LonLat} at */
const latlng = ([lon, lat]) => L.latLng(lat, lon);

export class Drawing {
  /** @param {any} ctx @param {import("./overlay.js").Overlay} overlay */
  constructor(ctx, overlay) {
    this.ctx = ctx;
    this.overlay = overlay;
    this.plan = ctx.plan;
    /** @type {any} */
    this.map = this.plan.map;
    this.keys = new Keys(this);
    /** @type {"draw" | "edit" | null} */
    this.mode = null;
    /** @type {any} */
    this.layer = null;
    /** @type {any[]} Outlines of the neighbours, to snap to. */
    this.neighbours = [];
    /** @type {LonLat | null} */
    this.cursor = null;
    this.onmove = (/** @type {any} */ event) => { this.cursor = [event.latlng.lng, event.latlng.lat]; this.told(); };
  }

  async ready() {
    await library();
    const pm = /** @type {any} */ (L).PM;
    if (this.map.pm) return;
    // The map is older than the library: it gets what a younger one is given when it is made.
    this.map.pm = new pm.Map(this.map);
    this.map.pm.setGlobalOptions({ tooltips: false });
    // The library's squares are for pointers only: the keyboard has the map itself (keys.js), and is not led through each of them.
    const squares = this.map.getPane("markerPane");
    new MutationObserver(() => {
      for (const one of squares.querySelectorAll(".marker-icon[tabindex]")) {
        one.removeAttribute("tabindex");
        one.removeAttribute("role");
        one.setAttribute("aria-hidden", "true");
      }
    }).observe(squares, { childList: true });
  }

  /** Begin a shape or a line. @param {"Polygon" | "Line"} kind @param {Draws} draws */
  async start(kind, draws) {
    await this.ready();
    this.stop();
    this.mode = "draw";
    this.kind = kind;
    this.draws = draws;
    this.plan.pointing = false;
    this.ctx.state.preview(null);
    this.lendNeighbours(null);
    this.map.once("pm:drawstart", (/** @type {any} */ event) => {
      this.layer = event.workingLayer;
      this.layer.on("pm:vertexadded pm:change", () => this.told());
    });
    this.map.on("pm:create", this.created, this);
    this.map.on("mousemove", this.onmove);
    this.map.pm.enableDraw(kind, { tooltips: false, snappable: true, snapDistance: SNAP_PX, allowSelfIntersection: true, continueDrawing: false, pathOptions: LOOK, templineStyle: LINE, hintlineStyle: HINT });
    this.plan.box.dataset.drawing = "true";
    this.keys.listen();
  }

  /** @param {any} event The library's: a shape is closed. */
  created(event) {
    const corners = plain(event.layer.getLatLngs());
    event.layer.remove();
    const draws = this.draws;
    this.stop();
    draws?.done(corners);
  }

  /** Corners set so far. @returns {LonLat[]} */
  get corners() {
    return this.layer ? plain(this.layer.getLatLngs()) : [];
  }

  told() {
    if (this.mode === "draw") this.draws?.change(this.corners, this.cursor);
    else if (this.mode === "edit") this.edits?.change(this.corners);
  }

  /** Set a corner without a pointer. @param {LonLat} at */
  set(at) {
    if (this.mode !== "draw") return;
    const event = { latlng: latlng(at), containerPoint: this.map.latLngToContainerPoint(latlng(at)), layerPoint: this.map.latLngToLayerPoint(latlng(at)), originalEvent: new MouseEvent("click") };
    this.map.fire("mousemove", event);
    this.map.fire("click", event);
  }

  /** @returns {boolean} Whether there was one to take back. */
  undoCorner() {
    const { corners } = this;
    if (this.mode !== "draw" || !corners.length) return false;
    if (corners.length === 1) {
      this.start(/** @type {any} */ (this.kind), /** @type {Draws} */ (this.draws)).then(() => this.told());
      return true;
    }
    this.map.pm.Draw[/** @type {string} */ (this.kind)]._removeLastVertex();
    this.told();
    return true;
  }

  /** @returns {number} How many corners are still wanted; 0 when it is done. */
  finish() {
    const wanted = (this.kind === "Polygon" ? 3 : 2) - this.corners.length;
    if (wanted > 0) return wanted;
    this.map.pm.Draw[/** @type {string} */ (this.kind)]._finishShape();
    return 0;
  }

  /** Let corners be dragged. @param {LonLat[]} corners @param {Edits} edits @param {string | null} [own] The block that is drawn anew. */
  async edit(corners, edits, own = null) {
    await this.ready();
    this.stop();
    this.mode = "edit";
    this.edits = edits;
    this.plan.pointing = false;
    this.lendNeighbours(own);
    this.layer = L.polygon(corners.map(latlng), LOOK).addTo(this.map);
    this.layer.on("pm:markerdrag pm:change pm:drag", () => this.told());
    this.layer.on("pm:markerdragend pm:edit pm:dragend", () => this.edits?.settled?.(this.corners));
    this.whole(false);
    this.keys.listen();
    this.told();
  }

  /** Corners, or the whole shape at once. @param {boolean} whole */
  whole(whole) {
    if (this.mode !== "edit") return;
    this.moving = whole;
    if (whole) {
      this.layer.pm.disable();
      this.layer.pm.enableLayerDrag();
    } else {
      this.layer.pm.disableLayerDrag();
      this.layer.pm.enable({ allowSelfIntersection: true, snappable: true, snapDistance: SNAP_PX, removeLayerBelowMinVertexCount: false });
    }
    this.plan.box.dataset.moving = String(whole);
  }

  /** Put other corners in place of the ones there are. @param {LonLat[]} corners */
  replace(corners) {
    if (this.mode !== "edit") return;
    const moving = this.moving ?? false;
    this.layer.pm.disable();
    this.layer.setLatLngs(corners.map(latlng));
    this.whole(moving);
    this.told();
    this.edits?.settled?.(this.corners);
  }

  /** Put the drawing away; what was not kept is gone. */
  stop() {
    this.keys.deaf();
    if (this.mode === "draw") {
      this.map.off("pm:create", this.created, this);
      this.map.off("mousemove", this.onmove);
      this.map.pm.disableDraw();
    } else if (this.mode === "edit") {
      this.layer.pm.disable();
      this.layer.remove();
    }
    for (const one of this.neighbours) one.remove();
    this.neighbours = [];
    this.mode = null;
    this.layer = null;
    this.cursor = null;
    this.plan.pointing = true;
    for (const name of ["drawing", "moving"]) delete this.plan.box.dataset[name];
    this.overlay.set({ edges: null, cross: null, corner: null });
  }

  /** Blocks share edges: their outlines are there to snap to, unseen. @param {string | null} own */
  lendNeighbours(own) {
    const features = this.ctx.state.get("blocks")?.features ?? [];
    this.neighbours = features.filter((/** @type {any} */ one) => one.id !== own).map((/** @type {any} */ one) => L.polygon(one.geometry.coordinates[0].map(latlng), { interactive: false, opacity: 0, fill: false }).addTo(this.map));
  }
}
