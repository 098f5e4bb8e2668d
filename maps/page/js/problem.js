// @ts-check
/** What the service (or the network) could not do, in the words of RFC 9457 and our own what, rule and remedy. */
export class Problem extends Error {
  /** @param {Record<string, any>} told The problem document; `status` 0 when nothing answered. */
  constructor(told) {
    super(told.detail || told.title || "The service did not answer.");
    this.name = "Problem";
    /** @type {number} */ this.status = told.status ?? 0;
    /** The part after `/problems#`. @type {string} */
    this.type = String(told.type ?? "").split("#").pop() ?? "";
    /** @type {string} */ this.title = told.title ?? this.message;
    /** @type {string} */ this.detail = told.detail ?? this.message;
    /** @type {string | undefined} */ this.what = told.what;
    /** @type {string | undefined} */ this.rule = told.rule;
    /** @type {string | undefined} */ this.remedy = told.remedy;
    /** @type {{at: string, problem: string}[]} */ this.problems = told.problems ?? [];
    /** @type {string[]} */ this.missing = told.missing ?? [];
    /** @type {any} */ this.mended = told.mended ?? null;
    /** @type {string | undefined} */ this.version = told.version;
  }

  /** Whether nothing answered: no network, or the service is not running. */
  get offline() {
    return this.status === 0;
  }
}
