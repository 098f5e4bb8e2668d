// @ts-check
/** Words of the place Ground. @type {Record<string, string>} */
export const groundWords = {};
