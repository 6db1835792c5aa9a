// Entries as they stand: the last state from the studio, overlaid with actions that it has not settled.

function entries() {
  const all = new Map();
  const put = (entry, said, more) => all.set(entry, { entry, ...said, ...more });
  for (const one of state.entries || [])
    put(one.entry, { state: "logged", row: one.row, taps: {} }, { hours: one.hours });
  for (const one of state.in_hand || [])
    if (one.entry)
      put(
        one.entry,
        { state: "running", row: { ...one.row, started_at: instant(one.since) }, taps: {} },
        { since: one.since },
      );
  for (const one of state.to_mend || []) put(one.entry, one, { refused: one.faults });
  for (const one of queue) put(one.entry, one, { refused: one.refused, here: !one.received });
  return [...all.values()].map(timed);
}
function timed(one) {
  const moment = (name) =>
    one.taps && one.taps[name] != null
      ? one.taps[name] + kept.offset
      : /Z$/.test(one.row[name] || "")
        ? Date.parse(one.row[name])
        : null;
  const since = moment("started_at"),
    until = moment("ended_at");
  const from = since != null ? wallOf(since) : one.row.started_at || "",
    to = until != null ? wallOf(until) : one.row.ended_at || "";
  const hours =
    since != null && until != null
      ? (until - since) / 36e5
      : from && to
        ? onClock(to) - onClock(from)
        : one.hours;
  return { ...one, since, from, to, hours, day: (from || one.row.date || "").slice(0, 10) };
}
const isOwn = (one) => one.row.person === kept.person || (kept.shared && one.row.person);
const inHand = () =>
  entries().filter((one) => one.state === "running" && (isOwn(one) || modeOf(one.row) === "unattended"));
const findEntry = (entry) => entries().find((one) => one.entry === entry);
const contentOf = ({ state = "struck", row = {}, taps = {}, works = [], split = "equally" } = {}) => ({
  state,
  row,
  taps,
  works,
  split,
});
