// What the page knows, what a change of a run's ends adds and drops, and the words. No published example: properties.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import { test } from "node:test";
import "./setup.mjs";
import { state } from "../../../maps/page/js/state.js";
import { changesOf } from "../../../maps/page/js/treat/runs.js";
import { say, words } from "../../../maps/page/js/words.js";

test("a listener is told once, after all has changed, and no more when it has left", () => {
  const heard = [];
  const off = state.on("blocks", (value, old) => heard.push([value, old, state.get("trees")]));
  state.set({ blocks: "new", trees: "new too" });
  assert.deepEqual(heard, [["new", null, "new too"]]);
  state.set({ blocks: "new" });
  assert.equal(heard.length, 1);
  off();
  state.set({ blocks: "newer" });
  assert.equal(heard.length, 1);
  assert.equal(state.get("never set"), null);
});

test("pointing is shown over what is chosen, and choosing ends it", () => {
  state.choose({ block: "A", row: 1 });
  state.preview({ block: "B" });
  assert.deepEqual(state.shown(), { block: "B", fixed: false });
  state.preview(null);
  assert.deepEqual(state.shown(), { block: "A", row: 1, fixed: true });
  state.choose(null);
  assert.equal(state.shown(), null);
});

test("the same selection is no change", () => {
  let told = 0;
  state.choose({ block: "A" });
  const off = state.on("selection", () => { told += 1; });
  state.choose({ block: "A" });
  assert.equal(told, 0);
  off();
});

/** The trees of a stretch "Block/row/a-b". @param {string} stretch */
function trees(stretch) {
  const [from, to] = stretch.split("/")[2].split("-").map(Number);
  assert.ok(from <= to, `${stretch} runs backwards`);
  return Array.from({ length: to - from + 1 }, (_none, i) => from + i);
}

test("moving the ends of a run, in either direction, adds and drops just what lies between", () => {
  for (const [start, end] of [[3, 6], [6, 3]]) {
    const run = { block: "Creek Elbow", row: 2, from_position: start, to_position: end };
    for (let from = 1; from <= 9; from += 1) {
      for (let to = 1; to <= 9; to += 1) {
        const { add, drop } = changesOf(run, from, to);
        const now = new Set([3, 4, 5, 6]);
        for (const one of add.flatMap(trees)) assert.ok(!now.has(one) && now.add(one), `${one} added twice`);
        for (const one of drop.flatMap(trees)) assert.ok(now.delete(one), `${one} dropped though it is not in`);
        const wanted = Array.from({ length: Math.abs(to - from) + 1 }, (_none, i) => Math.min(from, to) + i);
        assert.deepEqual([...now].toSorted((a, b) => a - b), wanted, `${from} to ${to}`);
      }
    }
  }
});

test("values go into sentences as the locale writes them, one and many", () => {
  words.test = "{n:tree|trees} of {all}, {name}";
  assert.equal(say("test", { n: 1, all: 1357, name: "<b>" }), "1 tree of 1,357, <b>");
  assert.equal(say("test", { n: 1200, all: 2.5 }), "1,200 trees of 2.5, ");
  delete words.test;
  assert.throws(() => say("no.such.words"), /no words for/);
});

test("every sentence that the page says is written down", () => {
  const page = new URL("../../../maps/page/js/", import.meta.url);
  const missing = [];
  for (const file of readdirSync(page, { recursive: true })) {
    if (!file.endsWith(".js")) continue;
    for (const [, key] of readFileSync(new URL(file, page), "utf8").matchAll(/\bsay\("([\w.]+)"/g)) if (!(key in words)) missing.push(`${file}: ${key}`);
  }
  assert.deepEqual(missing, []);
});
