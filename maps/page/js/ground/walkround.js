// @ts-check
/** A boundary walked with the device: positions are taken only when they are good enough, and the page says so in words. */
import { announce, el, mount } from "../dom.js";
import { area, number } from "../format.js";
import { say } from "../words.js";
import { button } from "./fields.js";
import { areaHa } from "./geo.js";
import { see } from "./place.js";
import { FAIR_M, Track } from "./track.js";

/** @param {import("./sheet.js").Sheet} ground */
export function open(ground) {
  const { overlay } = ground;
  const track = new Track();
  const told = el("div", { class: "ground-told", role: "status" });
  const acts = el("div", { class: "ground-add" });
  const wide = matchMedia("(min-width: 760px)").matches;
  let watching = 0;
  let begun = false;
  /** @type {any} */
  let awake = null;
  const say_ = (/** @type {string[]} */ ...lines) => mount(told, ...lines.filter(Boolean).map((words, i) => el("p", { class: i ? "quiet" : "", text: words })));
  const shown = () => {
    const at = track.last ? /** @type {[number, number]} */ ([track.last.longitude, track.last.latitude]) : null;
    overlay.set({ walked: { line: track.line, corners: track.points.filter(({ corner }) => corner).map((one) => one.at), at, accuracy: track.last?.accuracy ?? 0 } });
  };
  const fixed = (/** @type {GeolocationPosition} */ { coords }) => {
    const fix = { longitude: coords.longitude, latitude: coords.latitude, accuracy: coords.accuracy };
    const first = !track.last;
    if (begun) track.take(fix);
    else track.last = fix;
    if (first || !ground.plan.map.getBounds().contains([fix.latitude, fix.longitude])) see(ground, [fix.longitude, fix.latitude], Math.max(18, ground.plan.map.getZoom()));
    const good = fix.accuracy <= FAIR_M;
    const gap = track.gapM;
    say_(say(good ? "ground.walk.good" : "ground.walk.poor", { m: Math.round(fix.accuracy), fair: FAIR_M }), begun ? say("ground.walk.so", { n: track.points.length, ha: area(areaHa(track.line)) }) : "", gap !== null && gap < 15 && track.points.length > 8 ? say("ground.walk.nearStart", { m: number(gap, 0) }) : "");
    shown();
    buttons();
  };
  const failed = (/** @type {GeolocationPositionError} */ error) => say_(say(error.code === 1 ? "ground.position.refused" : "ground.position.failed"));
  const begin = () => {
    if (!track.last || track.last.accuracy > FAIR_M) return say_(say(track.last ? "ground.walk.poor" : "ground.walk.waiting", { m: Math.round(track.last?.accuracy ?? 0), fair: FAIR_M }));
    begun = true;
    track.take(track.last);
    shown();
    buttons();
    announce(say("ground.walk.begun"));
    return undefined;
  };
  const corner = () => {
    announce(say(track.corner() ? "ground.walk.corner" : "ground.walk.cornerPoor", { n: track.points.filter((one) => one.corner).length, fair: FAIR_M }));
    shown();
  };
  const finish = () => {
    const corners = track.corners();
    if (corners.length < 3) return ground.ctx.fail(new Error(say("ground.walk.few", { n: corners.length })));
    return ground.show("blocknew", { corners });
  };
  const buttons = () => {
    if (acts.dataset.begun === String(begun)) return;
    acts.dataset.begun = String(begun);
    mount(acts, ...(begun
      ? [button(say("ground.walk.cornerHere"), corner, "main", { id: "walk-corner" }), button(say("ground.walk.undo"), () => { announce(say(track.undoCorner() ? "ground.walk.undone" : "ground.noCorner")); shown(); }), button(say("ground.walk.close"), finish, "", { id: "walk-close" })]
      : [button(say("ground.first.startCorner"), begin, "main wide", { id: "walk-start" })]));
  };
  if (!isSecureContext || !navigator.geolocation) say_(say(isSecureContext ? "ground.position.none" : "ground.position.plain"));
  else {
    say_(say("ground.walk.waiting"));
    watching = navigator.geolocation.watchPosition(fixed, failed, { enableHighAccuracy: true, maximumAge: 1000, timeout: 30_000 });
    buttons();
    // A screen that sleeps stops the positions.
    /** @type {any} */ (navigator).wakeLock?.request("screen").then((/** @type {any} */ lock) => { awake = lock; }).catch(() => undefined);
  }
  const element = ground.page(say("ground.first.walkTitle"), el("p", { class: "lead", text: say("ground.first.walkLead") }), wide && el("p", { class: "quiet", text: say("ground.walk.laptop") }), told, acts, el("p", { class: "quiet", text: say("ground.walk.trees") }),
    el("p", { class: "buttons" }, button(say("ground.first.drawShort"), () => ground.show("draw", { purpose: "block" })), ground.back(say("ground.draw.stop"))));
  return { element, title: say("place.ground"), leave: () => { if (watching) navigator.geolocation.clearWatch(watching); awake?.release?.(); } };
}
