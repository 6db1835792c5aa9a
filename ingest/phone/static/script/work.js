// Begin, finish, pause and switch.

async function begin(row) {
  const mode = modeOf(row);
  const line = lineOf(row);
  const running = inHand().filter((one) => one.row.person === kept.person && modeOf(one.row) === "hands_on");
  const at = Date.now();
  const said = mode === "hands_on" ? running.map((one) => finished(one, at)) : [];
  said.push({
    entry: uuid(),
    ...contentOf({ state: "running", row: { ...line, person: kept.person }, taps: { started_at: at } }),
  });
  kept.paused = kept.paused.filter((one) => JSON.stringify(lineOf(one)) !== JSON.stringify(line));
  const ended = said.length > 1 ? `; ${lineOnWorks(running[0].row)} finished` : "";
  await record(`Begun: ${lineOnWorks(line)} at ${wallOf(now()).slice(11)}${ended}.`, said);
  go("#bench");
  scrollTo(0, 0);
}
const finished = (one, at, more = {}) => ({
  ...contentOf(one),
  entry: one.entry,
  state: "logged",
  row: { ...one.row, ended_at: "", ...more },
  taps: { ...one.taps, ended_at: at },
});
async function finish(one) {
  const at = Date.now();
  await record(
    `Finished: ${lineOnWorks(one.row)} at ${wallOf(now()).slice(11)}, ${longWords(now() - one.since)}.`,
    [finished(one, at)],
    { hold: HOLD_MS, person: kept.person || one.row.person },
  );
  go(entryHash(one.entry));
}
async function rest(one) {
  kept.paused = [
    lineOf(one.row),
    ...kept.paused.filter((two) => JSON.stringify(two) !== JSON.stringify(lineOf(one.row))),
  ].slice(0, 5);
  await storeSelf();
  await record(
    `Paused: ${lineOnWorks(one.row)}, ${longWords(now() - one.since)} so far.`,
    [finished(one, Date.now())],
    { person: kept.person || one.row.person },
  );
}
// On a tablet that several share, whoever begins says who it is, in one tap.
function whoever(act) {
  if (kept.person && !kept.shared) return act();
  asking = act;
  go("#who");
}
let asking = null;
