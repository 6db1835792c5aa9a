// Actions are stored on the phone first, then sent; the studio settles them and sends its state.

async function record(words, said, { hold = 0, person = kept.person, undoing = false } = {}) {
  const before = said.map(({ entry }) => ({ entry, ...contentOf(findEntry(entry)) }));
  const made = said.map((one) => ({ action: uuid(), person, ...one, hold: hold && Date.now() + hold }));
  const stamp = (about) => {
    for (const one of made) {
      about.number += 1;
      about.last = Math.max(Date.now(), about.last + 1);
      Object.assign(one, { number: about.number, made_at: about.last });
    }
  };
  // not sent yet: what is said now says it too
  const held = (one) => one.hold && !one.received && made.some((two) => two.entry === one.entry);
  try {
    if (!store) throw new Error("no store");
    await inTransaction(async (actions, others) => {
      const there = await resultOf(others.get("kept"));
      const about = { ...kept, ...there, ...latest(there), paused: kept.paused, still: kept.still };
      stamp(about);
      for (const one of queue.filter(held)) actions.delete(one.action);
      for (const one of made) actions.put(one);
      others.put(about, "kept");
      kept = about;
    });
  } catch {
    unstored();
    if (!made[0].number) stamp(kept);
    for (const one of made) one.unkept = true;
  }
  queue = [...queue.filter((one) => !held(one)), ...made];
  gesture = words ? { words, undo: undoing ? null : before, person } : null;
  announce();
  show();
  send();
}
async function undo() {
  const back = gesture;
  const shelved = back.undo.filter((one) => one.state === "logged" && one.hold);
  await record(
    `Undone: ${back.words.charAt(0).toLowerCase()}${back.words.slice(1)}`,
    back.undo.slice().reverse(),
    { person: back.person, undoing: true, hold: shelved.length ? HOLD_MS : 0 },
  );
  if (location.hash.startsWith("#entry=")) go("#bench");
}

let sending = false,
  resend = false,
  timer = 0,
  pause = 0;
async function send() {
  if (sending) {
    resend = true;
    return;
  }
  sending = true;
  try {
    const ready = [];
    for (const one of queue
      .filter((two) => !two.received && !two.refused && !(two.hold > Date.now()))
      .slice(0, 100)) {
      ready.push(one);
      // the studio takes 1 MB at once
      if (JSON.stringify(ready).length > 2e5) break;
    }
    if (ready.length) {
      const answer = await call("actions", {
        version: 1,
        phone: kept.phone,
        clock: Date.now(),
        actions: ready.map((one) => ({
          ...contentOf(one),
          action: one.action,
          entry: one.entry,
          number: one.number,
          made_at: one.made_at,
          person: one.person,
        })),
      });
      clockOff = answer.clock_off_s;
      await settle(ready, (one) => {
        const wrong = answer.unread.find((two) => two.action === one.action);
        if (wrong)
          return { ...one, refused: [{ column: "", value: "", reason: wrong.what, mend: wrong.mend }] };
        return answer.received.includes(one.action) ? { ...one, received: true } : one;
      });
    }
    const waiting = queue.filter((one) => one.received && !one.refused);
    let done = [];
    if (waiting.length) {
      const answer = await call("outcomes", { actions: waiting.slice(0, 200).map((one) => one.action) });
      const outcome = Object.fromEntries(answer.outcomes.map((one) => [one.action, one]));
      done = waiting.filter((one) => outcome[one.action]?.outcome in { saved: 1, overtaken: 1 });
      for (const one of done) {
        const { outcome: became, remarks: told } = outcome[one.action];
        if (
          became === "overtaken" &&
          !queue.some((two) => two.entry === one.entry && two.number > one.number)
        )
          remarks.set(one.entry, [
            { reason: "it was said otherwise elsewhere, later", mend: "Correct it here if that is wrong." },
          ]);
        else if (told.length) remarks.set(one.entry, told);
      }
      await settle(
        waiting.filter((one) => outcome[one.action]?.outcome === "refused"),
        (one) => ({ ...one, refused: outcome[one.action].faults }),
      );
      // the studio may have gone back to a backup: what it does not hold any more is sent again
      await settle(
        waiting.filter((one) => answer.missing.includes(one.action)),
        (one) => ({ ...one, received: false }),
      );
      trouble = answer.trouble ? `${answer.trouble.what}. ${answer.trouble.mend}` : "";
    } else trouble = "";
    if (done.length || !fresh) await refresh(done);
    pause = 0;
  } catch (error) {
    trouble = error.words || "The studio cannot be reached just now; what is saved here is sent once it can.";
    pause = Math.min(60000, pause ? pause * 2 : 3000);
  }
  sending = false;
  show();
  clearTimeout(timer);
  const next = queue
    .filter((one) => !one.refused)
    .map((one) => (one.hold > Date.now() ? one.hold - Date.now() : pause || 1000));
  if (resend && !pause) {
    resend = false;
    send();
  } else if (next.length || !fresh) timer = setTimeout(send, Math.max(50, Math.min(...next, pause || 60000)));
}
const remarks = new Map();
async function settle(some, become) {
  const by = new Map(some.map((one) => [one.action, become(one)]));
  queue = queue.map((one) => by.get(one.action) || one);
  if (store && by.size)
    await inTransaction((actions) => {
      for (const one of by.values()) actions.put(one);
    }).catch(unstored);
}
const asks = () =>
  [kept.shared && "everyone=yes", kept.person && `person=${encodeURIComponent(kept.person)}`]
    .filter(Boolean)
    .join("&");
const askAnew = () => {
  fresh = false;
  send();
};
// Settled actions leave the phone only once the studio has told how the entries stand.
async function refresh(done = []) {
  const about = asks(),
    asking = Date.now();
  const told = await call(`bench?${about}`);
  // a late answer, about somebody else
  if (about !== asks()) return;
  // as the studio spells it
  kept.person = told.person || kept.person;
  kept.offset = told.clock - (asking + Date.now()) / 2;
  if (Math.abs(kept.offset) < 2000) kept.offset = 0;
  state = told;
  fresh = true;
  const settled = new Map();
  for (const one of done) settled.set(one.entry, Math.max(settled.get(one.entry) || 0, one.number));
  // a later word of this phone settles what was refused before
  const gone = queue.filter(
    (one) => done.includes(one) || (one.refused && settled.get(one.entry) > one.number),
  );
  queue = queue.filter((one) => !gone.includes(one));
  if (store)
    await inTransaction((actions, others) => {
      for (const one of gone) actions.delete(one.action);
      others.put(told, "state");
      return storeCounts(others);
    }).catch(unstored);
  announce();
}
async function call(path, body) {
  const patience = new AbortController();
  const limit = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    const text = body && JSON.stringify(body);
    const answer = await fetch(
      API + path,
      body
        ? {
            method: "POST",
            body: text,
            headers: { "Content-Type": "application/json" },
            keepalive: text.length < 60000,
            signal: patience.signal,
          }
        : { signal: patience.signal },
    );
    // sent away: the studio says so in place of the form; what is not sent stays on the phone
    if (answer.status === 401 && storing) location.reload();
    const said = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(), { words: `${said.error.what}. ${said.error.mend}` });
    return said;
  } finally {
    clearTimeout(limit);
  }
}
