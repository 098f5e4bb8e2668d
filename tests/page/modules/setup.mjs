// What a page has and node has not: the document's locale. `inLocale` changes it for one test.
globalThis.document = { documentElement: { dataset: { locale: "en-GB" } } };

/** @param {string} locale @param {() => void} test */
export function inLocale(locale, test) {
  const { dataset } = document.documentElement;
  const before = dataset.locale;
  dataset.locale = locale;
  try {
    test();
  } finally {
    dataset.locale = before;
  }
}
