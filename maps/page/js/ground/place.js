// @ts-check
/** Where an empty grove is: remembered by this device, typed, taken from the device's position, or read in a file. */
import { el } from "../dom.js";
import { say } from "../words.js";
import { button, field } from "./fields.js";
import { typedPlace } from "./geo.js";
import { placeIn } from "./placein.js";

/** @typedef {import("./geo.js").LonLat} LonLat */
const key = (/** @type {string} */ grove) => `gridmap.place.${grove}`;

/** @param {string} grove @param {LonLat} at */
export function remember(grove, at) {
  try {
    localStorage.setItem(key(grove), JSON.stringify(at));
  } catch {
    // A device without room asks again.
  }
}

/** @param {any} ground @returns {LonLat | null} */
export function placeOf(ground) {
  const grove = ground.state.get("grove");
  if (grove?.place) return grove.place;
  try {
    return JSON.parse(localStorage.getItem(key(grove?.grove)) ?? "null");
  } catch {
    return null;
  }
}

/** Show the place of a grove in which nothing stands yet. @param {any} ground @returns {boolean} Whether it is known. */
export function start(ground) {
  if (ground.state.get("grove")?.bounds) return true;
  const at = placeOf(ground);
  if (at) see(ground, at);
  return Boolean(at);
}

/** @param {any} ground @param {LonLat} at @param {number} [zoom] */
export function see(ground, [lon, lat], zoom = 17.5) {
  ground.plan.moved = true;
  ground.plan.map.setView([lat, lon], zoom, { animate: false });
}

/** The device's position, once. @returns {Promise<{at: LonLat, accuracy: number}>} */
export function position() {
  return new Promise((resolve, reject) => {
    if (!isSecureContext || !navigator.geolocation) {
      reject(new Error(say(isSecureContext ? "ground.position.none" : "ground.position.plain")));
      return;
    }
    navigator.geolocation.getCurrentPosition(({ coords }) => resolve({ at: [coords.longitude, coords.latitude], accuracy: coords.accuracy }),
      (error) => reject(new Error(say(error.code === 1 ? "ground.position.refused" : "ground.position.failed"))), { enableHighAccuracy: true, timeout: 20_000, maximumAge: 60_000 });
  });
}

/** A field for a place, with a button for the device's own. @param {{id: string, label: string, value?: LonLat | null, change?: (at: LonLat) => void}} given */
export function placeField({ id, label, value = null, change }) {
  const shown = (/** @type {LonLat} */ [lon, lat]) => `${lat.toFixed(5)}, ${lon.toFixed(5)}`;
  const { row, input } = field({ id, label, value: value ? shown(value) : "", hint: say("ground.place.hint"), inputmode: "text" });
  const told = el("span", { class: "quiet", role: "status" });
  const read = () => typedPlace(input.value);
  const mine = button(say("ground.place.mine"), async () => {
    told.textContent = say("ground.place.asking");
    try {
      const { at, accuracy } = await position();
      input.value = shown(at);
      told.textContent = say("ground.place.good", { m: Math.round(accuracy) });
      change?.(at);
    } catch (error) {
      told.textContent = /** @type {Error} */ (error).message;
    }
  });
  input.addEventListener("change", () => {
    const at = read();
    if (at) input.removeAttribute("aria-invalid");
    else input.setAttribute("aria-invalid", "true");
    if (at) change?.(at);
  });
  row.append(el("p", { class: "buttons" }, mine, told));
  return { row, input, read };
}

/** The first position that a file names, for a grove that has no place yet. @param {File | null | undefined} file @returns {Promise<LonLat | null>} */
export async function placeOfFile(file) {
  return file && file.size < 20e6 && /\.(geo)?json$|\.kml$|\.gpx$|\.csv$/i.test(file.name) ? placeIn(await file.text(), file.name) : null;
}
