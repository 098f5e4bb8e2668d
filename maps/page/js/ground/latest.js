// @ts-check
/** Asks that follow each other fast: only the last one is asked, and only its answer counts. No DOM: tested by node. */

/** @template G, A */
export class Latest {
  /**
   * @param {(given: G, signal: AbortSignal) => Promise<A>} ask
   * @param {(answer: A, given: G) => void} done
   * @param {(error: any, given: G) => void} failed Not called for what was overtaken.
   * @param {number} [wait] Quiet time before asking [ms].
   */
  constructor(ask, done, failed, wait = 150) {
    this.ask = ask;
    this.done = done;
    this.failed = failed;
    this.wait = wait;
    /** @type {any} */
    this.timer = null;
    /** @type {AbortController | null} */
    this.running = null;
  }

  /** @param {G} given */
  want(given) {
    this.stop();
    this.timer = setTimeout(() => this.run(given), this.wait);
  }

  /** @param {G} given */
  async run(given) {
    this.timer = null;
    const mine = new AbortController();
    this.running = mine;
    try {
      const answer = await this.ask(given, mine.signal);
      if (this.running === mine) this.done(answer, given);
    } catch (error) {
      if (this.running === mine) this.failed(error, given);
    } finally {
      if (this.running === mine) this.running = null;
    }
  }

  /** Whether an answer is still to come. */
  get busy() {
    return this.timer !== null || this.running !== null;
  }

  /** Ask no more; what is under way is given up. */
  stop() {
    if (this.timer !== null) clearTimeout(this.timer);
    this.timer = null;
    this.running?.abort();
    this.running = null;
  }
}
