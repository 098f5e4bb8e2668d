// @ts-check
/** Taking hold of something drawn on the map, by mouse, pen or finger; the map itself stays where it is meanwhile. */

/** @typedef {import("./geo.js").LonLat} LonLat
 * @typedef {{move(at: LonLat, px: [number, number]): void, end?(): void}} Grip */

export class Grips {
  /** @param {import("../plan/plan.js").Plan} plan */
  constructor(plan) {
    this.plan = plan;
    /** What lies under a pointer, asked of the newest first. @type {((at: LonLat, px: [number, number], touch: boolean) => Grip | null)[]} */
    this.finders = [];
    /** @type {Grip | null} */
    this.held = null;
    plan.box.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => this.down(event), { capture: true });
    plan.box.addEventListener("pointermove", (/** @type {PointerEvent} */ event) => this.move(event), { capture: true });
    for (const kind of ["pointerup", "pointercancel"]) plan.box.addEventListener(kind, () => this.up(), { capture: true });
  }

  /** @param {(at: LonLat, px: [number, number], touch: boolean) => Grip | null} finder @returns {() => void} Call it to be asked no more. */
  add(finder) {
    this.finders.unshift(finder);
    return () => { this.finders = this.finders.filter((one) => one !== finder); };
  }

  /** @param {PointerEvent} event @returns {{at: LonLat, px: [number, number]}} */
  where(event) {
    const box = this.plan.box.getBoundingClientRect();
    const px = /** @type {[number, number]} */ ([event.clientX - box.left, event.clientY - box.top]);
    const { lng, lat } = this.plan.map.containerPointToLatLng(px);
    return { at: [lng, lat], px };
  }

  /** @param {PointerEvent} event */
  find(event) {
    if (/** @type {Element} */ (event.target).closest?.(".leaflet-marker-icon")) return null;
    const { at, px } = this.where(event);
    for (const finder of this.finders) {
      const found = finder(at, px, event.pointerType === "touch");
      if (found) return found;
    }
    return null;
  }

  /** @param {PointerEvent} event */
  down(event) {
    if (event.button !== 0 || !event.isPrimary || !this.finders.length) return;
    this.held = this.find(event);
    if (!this.held) return;
    this.plan.map.dragging.disable();
    this.plan.box.dataset.held = "true";
    this.plan.box.setPointerCapture?.(event.pointerId);
  }

  /** @param {PointerEvent} event */
  move(event) {
    if (this.held) {
      const { at, px } = this.where(event);
      this.held.move(at, px);
    } else if (this.finders.length && event.pointerType === "mouse" && !event.buttons) {
      this.plan.box.dataset.grip = String(Boolean(this.find(event)));
    }
  }

  up() {
    if (!this.held) return;
    const held = this.held;
    this.held = null;
    this.plan.map.dragging.enable();
    delete this.plan.box.dataset.held;
    held.end?.();
  }
}
