// @ts-check
/** Two windows, one block: who comes second sees that, and chooses. */
import { Problem } from "../problem.js";
import { say } from "../words.js";
import { button } from "./fields.js";

/** @param {any} ground @param {any} error @param {(version: string) => Promise<any>} send @param {(answer: any) => any} done */
export function changedMeanwhile(ground, error, send, done) {
  if (!(error instanceof Problem) || error.status !== 412) {
    ground.ctx.fail(error);
    return;
  }
  const version = String(error.version ?? "");
  const theirs = button(say("ground.conflict.theirs"), async () => {
    await ground.ctx.reload();
    await ground.home();
  });
  const mine = button(say("ground.conflict.mine"), async () => {
    mine.closest(".failed")?.remove();
    await ground.change(version, send, done);
  });
  ground.ctx.fail(new Error(say("ground.conflict.said")), version ? [theirs, mine] : [theirs]);
}
