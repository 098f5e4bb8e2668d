// @ts-check
/** Elements made from data: words always go in as text, never as markup. */

/**
 * Make an element.
 * @param {string} tag
 * @param {Record<string, any>} [given] `class`, `text`, `on…` listeners (`onclick`), and attributes; true sets a bare attribute,
 *   null, undefined and false leave it out. `data: {key: value}` fills the dataset.
 * @param {...(Node | string | number | null | undefined | false)} children
 * @returns {any} The element (typed loosely, so that a field's value can be read without a cast).
 */
export function el(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  fill(made, given);
  append(made, children);
  return made;
}

/**
 * The same for a drawing.
 * @param {string} tag
 * @param {Record<string, any>} [given]
 * @param {...(Node | string | number | null | undefined | false)} children
 * @returns {any}
 */
export function svg(tag, given = {}, ...children) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  fill(made, given);
  append(made, children);
  return made;
}

/** @param {Element} made @param {Record<string, any>} given */
function fill(made, given) {
  for (const [name, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "text") made.textContent = String(value);
    else if (name === "class") made.setAttribute("class", value);
    else if (name === "data") Object.assign(/** @type {HTMLElement} */ (made).dataset, value);
    else if (name === "value") /** @type {HTMLInputElement} */ (made).value = String(value);
    else if (name.startsWith("on") && typeof value === "function") made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? "" : String(value));
  }
}

/** @param {Element} made @param {any[]} children */
function append(made, children) {
  for (const child of children.flat()) {
    if (child === null || child === undefined || child === false) continue;
    made.append(child instanceof Node ? child : String(child));
  }
}

/** Put new children where the old ones were. @param {Element} element @param {...(Node | string | null | undefined | false)} children */
export function mount(element, ...children) {
  element.replaceChildren();
  append(element, children);
}

/** An element of index.html. @param {string} id @returns {any} */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`index.html has no #${id}`);
  return found;
}

/** Set custom properties or styles through the CSSOM (a style attribute is forbidden by the page's policy).
 * @param {HTMLElement | SVGElement} element @param {Record<string, string>} styles */
export function style(element, styles) {
  for (const [name, value] of Object.entries(styles)) element.style.setProperty(name, value);
}

/** Move the keyboard to an element, making it focusable if it is not. @param {HTMLElement | null} element */
export function focus(element) {
  if (!element) return;
  if (element.tabIndex < 0 && !element.hasAttribute("tabindex")) element.setAttribute("tabindex", "-1");
  element.focus({ preventScroll: false });
}

/** Say something to a screen reader, after what it is saying now. @param {string} words */
export function announce(words) {
  const region = byId("announcer");
  // The same sentence twice is spoken twice only if the text changes.
  region.textContent = region.textContent === words ? `${words}\u00a0` : words;
}

/** A value of a design token, as the style sheet has it now. @param {string} name Without the dashes. */
export function token(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}
