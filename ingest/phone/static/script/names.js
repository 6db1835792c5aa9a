// How works and lines are called.

const folded = (text) =>
  text
    .normalize("NFKD")
    .replace(/\p{M}/gu, "")
    .toLowerCase()
    .replace(/[-_/\s]+/g, " ")
    .trim();
// the studio's clock, as far as this phone knows it
const now = () => Date.now() + kept.offset;
const plural = (n, one, many) => `${n} ${n === 1 ? one : many}`;
const technique = (name) =>
  state.techniques.find((one) => one.technique === name || (one.aliases || []).includes(name));
const work = (code) => state.works.find((one) => one.object === code);
const workName = (code) => {
  const found = work(code);
  return !code ? "studio time" : found?.title && !kept.shared ? `${code} ${found.title}` : code;
};
// a technique; without one its phase as a whole, or the work
const lineWithoutPart = (row) => row.technique || `${row.phase || "the work"} as a whole`;
const lineName = (row) => lineWithoutPart(row) + (row.part ? `, ${row.part}` : "");
const wholes = () => [...state.phases, { phase: "" }];
const lineCalled = (text) =>
  (!technique(text) && wholes().find((one) => lineWithoutPart(one) === text)) || { technique: text };
// by its phase, not by what all wholes are called
const wholeFits = (one, wanted) =>
  folded(one.phase || "the work").includes(wanted) || folded(lineWithoutPart(one)).startsWith(wanted);
const lineOnWorks = (row, works = []) =>
  `${lineName(row)} on ${works.map((one) => one.object).join(", ") || row.object || "studio time"}`;
const modeOf = (row) => row.mode || (technique(row.technique) || {}).mode || "hands_on";
const lineOf = ({ object, phase, technique, part, mode }) => ({
  object: object || "",
  phase: phase || "",
  technique: technique || "",
  part: part || "",
  ...(mode && { mode }),
});
