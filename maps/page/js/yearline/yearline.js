// @ts-check
/** The year line: the season as a line of days. Done is filled, due is hollow; choosing a walk shows the grove as it stood then. */
import { announce, byId, el, mount, svg } from "../dom.js";
import { date } from "../format.js";
import { say } from "../words.js";
import { inOrder, laneOf, makeScale, monthStarts, nextMark } from "./scale.js";

const LANES = ["walks", "treatments", "sward"];
const LEFT = 128;
const RIGHT = 24;
const LANE_PX = 24;
const HEAD_PX = 22;

export class YearLine {
  /** @param {HTMLElement} element @param {{state: typeof import("../state.js").state}} ctx */
  constructor(element, { state }) {
    this.element = element;
    this.state = state;
    /** @type {any[]} */
    this.marks = [];
    this.at = -1;
    this.drawing = svg("svg", { class: "yearline-drawing", "aria-hidden": "true" });
    this.list = el("ul", {
      class: "yearline-list", role: "listbox", tabindex: "0", "aria-label": say("yearline.label"),
      onkeydown: (/** @type {KeyboardEvent} */ event) => this.key(event),
    });
    this.quiet = el("p", { class: "yearline-quiet quiet", text: say("yearline.empty") });
    mount(element, this.drawing, this.list, this.quiet);
    for (const key of ["yearLine", "walk", "walks", "light"]) state.on(key, () => this.draw());
    new ResizeObserver(() => this.draw()).observe(element);
    this.draw();
  }

  draw() {
    const line = this.state.get("yearLine");
    const width = this.element.clientWidth;
    const height = this.element.clientHeight;
    mount(this.drawing);
    mount(this.list);
    this.marks = inOrder(line?.marks ?? []);
    this.quiet.hidden = this.marks.length > 0 || !line;
    if (!line || width < 200) return;
    this.drawing.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const scale = makeScale(line.season.start, line.season.end, LEFT, width - RIGHT);
    this.frame(line, scale, width, height);
    this.marks.forEach((mark, i) => this.mark(mark, i, scale));
    this.list.setAttribute("aria-activedescendant", this.at >= 0 && this.marks[this.at] ? `mark-${this.at}` : "");
  }

  /** @param {any} line @param {ReturnType<typeof makeScale>} scale @param {number} width @param {number} height */
  frame(line, scale, width, height) {
    const today = scale.x(line.today);
    const foot = HEAD_PX + LANES.length * LANE_PX + 2;
    const parts = [svg("rect", { class: "ahead", x: today, y: HEAD_PX - 4, width: Math.max(width - today, 0), height: Math.max(foot - HEAD_PX + 4, 0) })];
    LANES.forEach((lane, i) => {
      const y = HEAD_PX + (i + 0.5) * LANE_PX;
      parts.push(svg("line", { class: "lane", x1: LEFT, x2: width, y1: y, y2: y }));
      parts.push(svg("text", { class: "quiet", x: LEFT - 12, y: y + 5, "text-anchor": "end", text: say(`yearline.lane.${lane}`) }));
    });
    parts.push(svg("line", { class: "axis-line", x1: LEFT, x2: width, y1: foot, y2: foot }));
    const every = (width - LEFT) / 12 < 62 ? 2 : 1;
    monthStarts(line.season.start, line.season.end).forEach((iso, i) => {
      const x = scale.x(iso);
      parts.push(svg("line", { class: "axis-line", x1: x, x2: x, y1: foot, y2: foot + 6 }));
      const how = /** @type {Intl.DateTimeFormatOptions} */ (i === 0 || iso.slice(5, 7) === "01" ? { month: "short", year: "numeric" } : { month: "short" });
      if (i % every === 0) parts.push(svg("text", { class: "quiet", x: x + 6, y: foot + 19, text: date(iso, how) }));
    });
    parts.push(svg("line", { class: "today", x1: today, x2: today, y1: 2, y2: foot }));
    const room = width - today > 190;
    parts.push(svg("text", { class: "strong", x: today + (room ? 8 : -8), y: 16, "text-anchor": room ? "start" : "end", text: say("yearline.today", { date: date(line.today, { day: "numeric", month: "long" }) }) }));
    this.drawing.append(...parts);
  }

  /** @param {any} mark @param {number} i @param {ReturnType<typeof makeScale>} scale */
  mark(mark, i, scale) {
    const y = HEAD_PX + (LANES.indexOf(laneOf(mark.kind)) + 0.5) * LANE_PX;
    const x = scale.x(mark.date);
    const shown = mark.kind === "walk" && mark.id === this.shownWalk();
    const group = svg("g", { class: `mark ${mark.kind} ${mark.state}${shown ? " shown" : ""}`, transform: `translate(${x} ${y})` });
    if (shown) group.append(svg("circle", { class: "ring", r: 12 }));
    group.append(shape(mark.kind));
    this.drawing.append(group);
    const words = say("yearline.mark", { title: mark.title, date: date(mark.date), state: say(`yearline.state.${mark.state}`) });
    const option = el("li", {
      role: "option", id: `mark-${i}`, "aria-selected": String(shown), "aria-label": words, title: words, class: "yearline-option",
      onclick: () => this.choose(i),
    });
    option.style.setProperty("left", `${x - 14}px`);
    option.style.setProperty("top", `${y - 14}px`);
    if (i === this.at) option.classList.add("active");
    this.list.append(option);
  }

  /** The walk that the map shows. */
  shownWalk() {
    const chosen = this.state.get("walk");
    const walks = this.state.get("walks") ?? [];
    return chosen ?? walks.at(-1)?.walk ?? null;
  }

  /** @param {number} i */
  choose(i) {
    const mark = this.marks[i];
    if (!mark) return;
    this.at = i;
    announce(say("yearline.mark", { title: mark.title, date: date(mark.date), state: say(`yearline.state.${mark.state}`) }));
    if (mark.kind === "walk") {
      const newest = (this.state.get("walks") ?? []).at(-1)?.walk;
      this.state.set({ walk: mark.id === newest ? null : mark.id });
    }
    this.draw();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      return this.choose(this.at);
    }
    if (!["ArrowLeft", "ArrowRight", "Home", "End"].includes(event.key)) return undefined;
    event.preventDefault();
    this.at = nextMark(this.marks.length, this.at, event.key);
    this.draw();
    const mark = this.marks[this.at];
    if (mark) announce(say("yearline.mark", { title: mark.title, date: date(mark.date), state: say(`yearline.state.${mark.state}`) }));
    return undefined;
  }
}

/** The mark of a kind: circle walk, diamond treatment, square survey, triangle slash, bar harvest. @param {string} kind */
function shape(kind) {
  if (kind === "zone" || kind === "treatment" || kind === "follow_up") return svg("path", { class: "shape", d: "M0 -8L8 0L0 8L-8 0Z" });
  if (kind === "survey") return svg("rect", { class: "shape", x: -6.5, y: -6.5, width: 13, height: 13 });
  if (kind === "slash") return svg("path", { class: "shape", d: "M0 -7L7.5 6.5H-7.5Z" });
  if (kind === "harvest") return svg("rect", { class: "shape", x: -18, y: -6, width: 36, height: 12, rx: 6 });
  return svg("circle", { class: "shape", r: 7 });
}

/** @param {any} ctx */
export function mountYearLine(ctx) {
  return new YearLine(byId("yearline"), ctx);
}
