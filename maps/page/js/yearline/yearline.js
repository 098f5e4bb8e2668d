// @ts-check
/** The year line: the season as a line of days. Done is filled, due is hollow; choosing a walk shows the grove as it stood then. */
import { announce, byId, el, mount, style, svg } from "../dom.js";
import { date } from "../format.js";
import { say } from "../words.js";
import { nameMarks } from "./names.js";
import { inOrder, laneOf, makeScale, monthStarts, nextMark } from "./scale.js";
import { seasonAt, seasonName, seasonsOf } from "./seasons.js";

const LANES = ["walks", "treatments", "sward"];
const LANE_PX = 23;
const HEAD_PX = 23;
const LEAST_PX = 660;
const middling = matchMedia("(min-width: 760px) and (max-width: 1199.98px)");

/** @param {string} iso */
const dayOf = (iso) => date(iso, { day: "numeric", month: "long" });

export class YearLine {
  /** @param {HTMLElement} element @param {{state: typeof import("../state.js").state}} ctx */
  constructor(element, { state }) {
    this.element = element;
    this.state = state;
    /** @type {any[]} */
    this.marks = [];
    this.at = -1;
    this.all = false;
    /** The year of the season that was asked for; null shows the one of the day shown. @type {number | null} */
    this.year = null;
    this.drawing = svg("svg", { class: "yearline-drawing", "aria-hidden": "true" });
    this.list = el("ul", {
      class: "yearline-list", role: "listbox", tabindex: "0", "aria-label": say("yearline.label"),
      onkeydown: (/** @type {KeyboardEvent} */ event) => this.key(event),
    });
    this.inner = el("div", { class: "yearline-inner" }, this.drawing, this.list);
    this.scroller = el("div", { class: "yearline-scroller" }, this.inner);
    this.ways = el("div", { class: "yearline-ways" });
    this.quiet = el("p", { class: "yearline-quiet quiet", text: say("yearline.empty") });
    mount(element, this.scroller, this.ways, this.quiet);
    for (const key of ["yearLine", "walks", "light", "grove"]) state.on(key, () => this.draw());
    state.on("walk", () => { this.year = null; this.draw(); });
    middling.addEventListener("change", () => this.draw());
    new ResizeObserver(() => this.draw()).observe(element);
    this.draw();
  }

  /** The season to show, and those there are. @param {any} line */
  season(line) {
    const start = this.state.get("grove")?.season_start ?? line.season.start.slice(5);
    const seasons = seasonsOf([line.today, ...line.marks.map((/** @type {any} */ mark) => mark.date)], start);
    const walk = (this.state.get("walks") ?? []).find((/** @type {any} */ one) => one.walk === this.shownWalk());
    const year = this.year ?? seasonAt(walk?.date ?? line.today, start).year;
    return { seasons, at: Math.max(seasons.findIndex((one) => one.year === year), 0) };
  }

  draw() {
    const line = this.state.get("yearLine");
    mount(this.drawing);
    mount(this.list);
    this.quiet.hidden = !line || line.marks.length > 0;
    this.lanes = middling.matches && !this.all ? ["walks"] : LANES;
    this.foot = HEAD_PX + this.lanes.length * LANE_PX + 2;
    style(this.element, { "--yearline-height": `${this.foot + 24}px` });
    if (!line) return;
    const { seasons, at } = this.season(line);
    this.drawWays(line, seasons, at);
    const width = Math.max(this.scroller.clientWidth, LEAST_PX);
    if (this.scroller.clientWidth < 100) return;
    style(this.inner, { width: `${width}px` });
    const [left, right] = this.scroller.clientWidth < LEAST_PX ? [112, 20] : [128, 24];
    const shown = seasons[at];
    this.marks = inOrder(line.marks.filter((/** @type {any} */ mark) => mark.date >= shown.start && mark.date <= shown.end && this.lanes?.includes(laneOf(mark.kind))));
    this.drawing.setAttribute("viewBox", `0 0 ${width} ${this.foot + 24}`);
    style(this.drawing, { height: `${this.foot + 24}px` });
    const scale = makeScale(shown.start, shown.end, left, width - right);
    this.frame(shown, scale, left, width);
    const boxes = this.today(line.today, shown, scale, left, width);
    this.marks.forEach((mark, i) => this.mark(mark, i, scale));
    this.drawing.append(...nameMarks(this.marks.map((mark) => ({ mark, x: scale.x(mark.date), lane: this.lanes?.indexOf(laneOf(mark.kind)) ?? 0, shown: mark.kind === "walk" && mark.id === this.shownWalk() })), { head: HEAD_PX, lane: LANE_PX, left, right: width, taken: boxes }));
    this.list.setAttribute("aria-activedescendant", this.at >= 0 && this.marks[this.at] ? `mark-${this.at}` : "");
    this.bring(scale);
  }

  /** Buttons to the seasons beside, to today, and to the lanes that are folded. @param {any} line @param {import("./seasons.js").Season[]} seasons @param {number} at */
  drawWays(line, seasons, at) {
    const way = (/** @type {number} */ to) => {
      const season = seasons[to];
      const current = line.today >= season.start && line.today <= season.end;
      return el("button", { class: "button small", type: "button", id: `season-${season.year}`, text: current ? say("yearline.toToday") : seasonName(season), "aria-label": say(current ? "yearline.seasonToday" : "yearline.season", { season: seasonName(season) }), onclick: () => {
        this.year = season.year;
        this.at = -1;
        this.draw();
        announce(say("yearline.shown", { season: seasonName(season) }));
        /** @type {HTMLElement | null} */ (this.ways.querySelector("button"))?.focus();
      } });
    };
    const beside = [at - 1, at + 1].filter((to) => to >= 0 && to < seasons.length);
    const fold = middling.matches && el("button", { class: "button small", type: "button", "aria-expanded": String(this.all), text: say(this.all ? "yearline.fewer" : "yearline.more"), onclick: () => {
      this.all = !this.all;
      this.draw();
      /** @type {HTMLElement | null} */ (this.ways.querySelector("[aria-expanded]"))?.focus();
    } });
    mount(this.ways, ...beside.map(way), fold);
    this.ways.hidden = !this.ways.childElementCount;
  }

  /** Lanes, months. @param {{start: string, end: string}} season @param {ReturnType<typeof makeScale>} scale @param {number} left @param {number} width */
  frame(season, scale, left, width) {
    const foot = this.foot ?? 0;
    const parts = [];
    (this.lanes ?? []).forEach((lane, i) => {
      const y = HEAD_PX + (i + 0.5) * LANE_PX;
      parts.push(svg("line", { class: "lane", x1: left, x2: width, y1: y, y2: y }));
      parts.push(svg("text", { class: "quiet", x: left - 12, y: y + 5, "text-anchor": "end", text: say(`yearline.lane.${lane}`) }));
    });
    parts.push(svg("line", { class: "axis-line", x1: left, x2: width, y1: foot, y2: foot }));
    monthStarts(season.start, season.end).forEach((iso, i) => {
      const x = scale.x(iso);
      parts.push(svg("line", { class: "axis-line", x1: x, x2: x, y1: foot, y2: foot + 7 }));
      const year = i === 0 || iso.slice(5, 7) === "01";
      const wide = (width - left) / 12 > 76 || !year;
      const words = wide ? date(iso, year ? { month: "short", year: "numeric" } : { month: "short" }) : iso.slice(5, 7) === "01" ? iso.slice(0, 4) : date(iso, { month: "short" });
      parts.push(svg("text", { class: "quiet", x: x + 6, y: foot + 19, text: words }));
    });
    this.drawing.append(...parts);
  }

  /** Today, and what lies ahead of it. @param {string} today @param {{start: string, end: string}} season @param {ReturnType<typeof makeScale>} scale @param {number} left @param {number} width
   * @returns {import("./names.js").Box[]} What names must keep clear of. */
  today(today, season, scale, left, width) {
    const foot = this.foot ?? 0;
    if (today > season.end) return [];
    const x = today < season.start ? left : scale.x(today);
    this.drawing.prepend(svg("rect", { class: "ahead", x, y: HEAD_PX - 2, width: Math.max(width - x, 0), height: foot - HEAD_PX + 2 }));
    if (today < season.start) return [];
    const words = say("yearline.today", { date: dayOf(today) });
    const room = width - x > 9 * words.length + 12;
    this.drawing.append(svg("line", { class: "today", x1: x, x2: x, y1: 2, y2: foot }),
      svg("text", { class: "strong", x: x + (room ? 8 : -8), y: 16, "text-anchor": room ? "start" : "end", text: words }));
    return [{ from: room ? x : x - 9 * words.length - 12, to: room ? x + 9 * words.length + 12 : x, lane: -1 }, { from: x - 2, to: x + 2, lane: 0 }, { from: x - 2, to: x + 2, lane: 1 }, { from: x - 2, to: x + 2, lane: 2 }];
  }

  /** @param {any} mark @param {number} i @param {ReturnType<typeof makeScale>} scale */
  mark(mark, i, scale) {
    const y = HEAD_PX + ((this.lanes?.indexOf(laneOf(mark.kind)) ?? 0) + 0.5) * LANE_PX;
    const x = scale.x(mark.date);
    const shown = mark.kind === "walk" && mark.id === this.shownWalk();
    const group = svg("g", { class: `mark ${mark.kind} ${mark.state}${shown ? " shown" : ""}`, transform: `translate(${x} ${y})` });
    if (shown) group.append(svg("circle", { class: "ring", r: 11 }));
    group.append(shape(mark.kind));
    this.drawing.append(group);
    const words = markWords(mark);
    const option = el("li", {
      role: "option", id: `mark-${i}`, "aria-selected": String(shown), "aria-label": words, title: words, class: "yearline-option",
      onclick: () => this.choose(i),
    });
    style(option, { left: `${x - 12}px`, top: `${y - 12}px` });
    if (i === this.at) option.classList.add("active");
    this.list.append(option);
  }

  /** Where the line is wider than its room, the day shown is brought into view. @param {ReturnType<typeof makeScale>} scale */
  bring(scale) {
    const mark = this.marks[this.at] ?? this.marks.find((one) => one.id === this.shownWalk());
    if (mark && this.inner.clientWidth > this.scroller.clientWidth) this.scroller.scrollLeft = scale.x(mark.date) - this.scroller.clientWidth / 2;
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
    announce(markWords(mark));
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
    if (mark) announce(markWords(mark));
    return undefined;
  }
}

/** @param {any} mark */
function markWords(mark) {
  return say("yearline.mark", { title: mark.title, date: date(mark.date), state: say(`yearline.state.${mark.state}`) });
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
