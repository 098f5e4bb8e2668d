// @ts-check
/** The first position in the text of a file. No DOM: tested by node. */

/** @param {string} text @param {string} name @returns {[number, number] | null} Longitude, latitude; null when there is none in degrees. */
export function placeIn(text, name) {
  const number = "(-?\\d+(?:\\.\\d+)?)";
  const found = /\.gpx$/i.test(name) ? attributes(text) : /\.csv$/i.test(name) ? columns(text)
    : text.match(new RegExp(/\.kml$/i.test(name) ? `<coordinates>\\s*${number}\\s*,\\s*${number}` : `"coordinates"\\s*:\\s*[\\[\\s]*${number}\\s*,\\s*${number}`))?.slice(1);
  if (!found) return null;
  const [lon, lat] = found.map(Number);
  return Number.isFinite(lon) && Number.isFinite(lat) && Math.abs(lon) <= 180 && Math.abs(lat) <= 90 ? [lon, lat] : null;
}

/** @param {string} text */
function attributes(text) {
  const tag = text.match(/<(?:trkpt|wpt|rtept)\s[^>]*>/)?.[0];
  const lon = tag?.match(/\blon\s*=\s*["']([^"']+)/)?.[1];
  const lat = tag?.match(/\blat\s*=\s*["']([^"']+)/)?.[1];
  return lon && lat ? [lon, lat] : null;
}

/** @param {string} text */
function columns(text) {
  const [head, line] = text.replace(/^\ufeff/, "").split(/\r?\n/);
  const names = (head ?? "").toLowerCase().split(/[,;\t]/).map((one) => one.trim().replaceAll('"', ""));
  const values = (line ?? "").split(/[,;\t]/);
  const [i, j] = [names.indexOf("longitude"), names.indexOf("latitude")];
  return i < 0 || j < 0 ? null : [values[i], values[j]];
}
