// @ts-check
/** A tree in words, as it is spoken and written: where it stands, its value where one is known. */
import { limits } from "../format.js";
import { say } from "../words.js";

/** @param {any} state @param {import("./ground.js").TreeSet} set @param {number} i */
export function treeWords(state, set, i) {
  const name = say("plan.tree", { block: set.names[set.block[i]], row: String(set.row[i]), position: String(set.position[i]) });
  const pressure = state.get("pressure");
  if (!pressure || pressure.trees !== set.n || state.get("place") === "ground") return name;
  const { median_per_beat: median, low_80: low, high_80: high, knowledge } = pressure.columns;
  return knowledge[i] === "unknown" ? say("plan.treeUnknown", { name }) : say("plan.treeValue", { name, value: limits(median[i], low[i], high[i]), known: say(`plan.${knowledge[i]}`) });
}
