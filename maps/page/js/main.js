// @ts-check
/** The one controller: opens the grove, joins the instruments and the places, says what is saved. */
import { Problem, api } from "./api.js";
import { askAgain, readAhead } from "./away.js";
import { announce, byId, el, focus, mount } from "./dom.js";
import { lightSwitch, startLight } from "./light.js";
import { GROUND, MAP, reload, remember } from "./loaders.js";
import { askForCode } from "./pair.js";
import { watchService } from "./offline.js";
import { Places, placeNames, placeTitle, registerPlace } from "./places.js";
import { Plan } from "./plan/plan.js";
import { showProblem } from "./problems.js";
import { mountProfile } from "./profile/profile.js";
import { state } from "./state.js";
import { statusLine } from "./status.js";
import { drawerTabs, stripTabs } from "./strips.js";
import { say } from "./words.js";
import { startWorker } from "./worker.js";
import { openWhy } from "./why.js";
import { mountYearLine } from "./yearline/yearline.js";

registerPlace("ground", { title: say("place.ground"), load: () => import("./ground/sheet.js") });
registerPlace("pressure", { title: say("place.pressure"), load: () => import("./pressure/sheet.js") });
registerPlace("treat", { title: say("place.treat"), load: () => import("./treat/sheet.js") });

const sheet = byId("sheet");
let saves = 0;
startLight(state);
state.set({ layer: "expected" });
const plan = new Plan(byId("plan"), { state });
const ctx = {
  state, api, plan,
  /** @param {...string} keys */
  reload: (...keys) => reload(state, api, keys.length ? keys : GROUND),
  /** @param {string} words */
  saving: (words) => state.set({ saving: { saved: saves, waiting: 1, refused: 0, said: words } }),
  /** @param {string} words */
  saved: (words) => { saves += 1; state.set({ saving: { saved: saves, waiting: 0, refused: 0, said: words } }); announce(words); },
  /** @param {any} error @param {HTMLElement[]} [ways] */
  fail: (error, ways) => { state.set({ saving: null }); showProblem(sheet, error, ways); },
  go: (/** @type {string} */ name) => { location.hash = name; },
  /** @param {any} grove */
  opened: (grove) => opened(grove),
};
const slot = el("div", { class: "sheet-slot" });
const places = new Places(slot, ctx);
mount(sheet, slot, el("footer", { class: "sheet-foot" }, lightSwitch(state)));
statusLine(byId("status"), state);
mountProfile(ctx);
mountYearLine(ctx);
stripTabs();
const drawer = drawerTabs();
watchService(state);
for (const key of ["grove", "blocks", "place"]) state.on(key, heads);
plan.element.addEventListener("treechoose", (event) => {
  if (state.get("place") === "pressure" && state.get("pressure")) openWhy(ctx, /** @type {CustomEvent} */ (event).detail.tree).catch(ctx.fail);
});
document.addEventListener("keydown", (event) => { if (event.key === "Escape" && !document.querySelector("dialog[open]")) { state.choose(null); state.set({ band: null }); } });
document.addEventListener("notpaired", () => askForCode(sheet));
addEventListener("hashchange", () => go());
addEventListener("unhandledrejection", (event) => { if (event.reason instanceof Problem) { event.preventDefault(); ctx.fail(event.reason); } });
byId("skip").addEventListener("click", (/** @type {Event} */ event) => { event.preventDefault(); focus(sheet); });

/** The place that the address names, the best one when it names none. */
async function go() {
  const asked = location.hash.slice(1);
  const drawn = (state.get("blocks")?.features ?? []).length > 0;
  const name = placeNames().includes(asked) && (drawn || asked === "ground") ? asked : drawn && state.get("walks")?.length && !asked ? "pressure" : "ground";
  state.set({ place: name });
  try {
    await places.go(name);
  } catch (error) {
    ctx.fail(error);
  }
}

/** Names, doors, what CSS needs to know. */
function heads() {
  const grove = state.get("grove");
  const drawn = (state.get("blocks")?.features ?? []).length > 0;
  const place = state.get("place") ?? "";
  byId("grove-name").textContent = grove?.name ?? say("app.newGrove");
  const invented = byId("invented");
  invented.hidden = !grove?.invented;
  invented.textContent = say("app.invented");
  document.title = `${placeTitle(place) || say("app.name")}, ${grove?.name ?? say("app.newGrove")}`;
  document.body.dataset.place = place;
  document.body.dataset.first = String(!drawn);
  mount(byId("places"), ...placeNames().map((name) => el("a", { href: `#${name}`, text: placeTitle(name), "aria-current": name === place ? "page" : null, "aria-disabled": !drawn && name !== "ground" ? "true" : null,
    onclick: (/** @type {Event} */ event) => { if (!drawn && name !== "ground") { event.preventDefault(); announce(say("place.needsGround", { place: placeTitle(name) })); } } })));
  byId("strip-tabs").hidden = !drawn;
  drawer.hidden = !drawn;
}

/** @param {any} grove */
async function opened(grove) {
  state.set({ grove });
  await reload(state, api, GROUND);
  plan.fit();
}

/** @param {any} answer GET /api/groves */
function known({ groves, service }) {
  state.set({ shared: service.shared, mayCreate: service.may_create, groves });
  const wanted = new URLSearchParams(location.search).get("grove");
  return groves.find((/** @type {any} */ one) => one.grove === wanted) ?? groves[0];
}

/** What this device remembers is on the screen before the service has answered. */
async function remembered() {
  const had = await api.rememberedRoot("groves");
  const grove = had && known(had);
  if (!grove) return;
  state.set({ grove });
  if (!(await remember(state, api, GROUND))) return;
  plan.fit();
  if (state.get("walks").length) await remember(state, api, MAP);
  go();
}

async function start() {
  try {
    await remembered();
    const answer = await api.root("groves");
    if (!state.get("offline")) await api.forgetOthers(answer.groves.map((/** @type {any} */ one) => one.grove));
    const shown = state.get("grove")?.grove;
    const grove = known(answer);
    // What was remembered is of a grove that is served no more: begin anew, with nothing of it.
    if (shown && shown !== grove?.grove) return location.reload();
    if (grove) await opened(grove);
    else state.set({ blocks: { type: "FeatureCollection", features: [] } });
  } catch (error) {
    if (error instanceof Problem && error.status === 401) return;
    ctx.fail(error);
    state.set({ blocks: state.get("blocks") ?? { type: "FeatureCollection", features: [] } });
  }
  await go();
  document.body.dataset.ready = "true";
  readAhead(state, api).then(() => { document.body.dataset.kept = "true"; }, () => undefined);
}

askAgain(state, () => api.root("groves"), () => reload(state, api, [...GROUND, ...(state.get("pressure") ? MAP : [])]).catch(ctx.fail));
startWorker(sheet);
start();
